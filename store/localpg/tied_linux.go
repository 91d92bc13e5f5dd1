package localpg

import (
	"os/exec"
	"runtime"
	"syscall"
)

// dieWithParent has the kernel ask the child for a fast shutdown when the thread that started it ends.
func dieWithParent(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGINT }

// runTied starts cmd and waits for it on one thread that does nothing else: the kernel watches the thread,
// not the process, and the Go runtime ends threads when it likes.
func runTied(cmd *exec.Cmd) (started, ended <-chan error) {
	return runOn(cmd, func() func() {
		runtime.LockOSThread()
		return runtime.UnlockOSThread
	})
}
