//go:build !linux

package localpg

import (
	"os/exec"
	"syscall"
)

// dieWithParent does nothing here: the next start finds the orphan and stops it.
func dieWithParent(*syscall.SysProcAttr) {}

// runTied starts cmd and waits for it.
func runTied(cmd *exec.Cmd) (started, ended <-chan error) {
	return runOn(cmd, func() func() { return func() {} })
}
