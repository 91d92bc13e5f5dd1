package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestDemoThatWasCutShortSaysSo kills the demo with signal 9 while it loads. The next start serves no half a shop and says what to do.
func TestDemoThatWasCutShortSaysSo(t *testing.T) {
	p := newProgram(t)
	run := func(out *bytes.Buffer) *exec.Cmd {
		c := exec.Command(p.binary, "demo", "--data", p.data, "--listen", p.address)
		c.Env = append(os.Environ(), "DATABASE_URL=")
		c.Stdout, c.Stderr = out, out
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		return c
	}
	var said bytes.Buffer
	first := run(&said)
	// The folder has the key of the site's seals once the site is there, long before thirty days are.
	key := filepath.Join(p.data, "seal-TH.key")
	for deadline := time.Now().Add(2 * time.Minute); ; time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(key); err == nil {
			break
		} else if time.Now().After(deadline) {
			t.Fatalf("no site within two minutes: %s", said.String())
		}
	}
	_ = first.Process.Kill()
	_ = first.Wait()
	said.Reset()
	second := run(&said)
	if err := second.Wait(); err == nil {
		t.Error("the second start ended as if all was well")
	}
	if !strings.Contains(said.String(), "loading the demo was cut short") || !strings.Contains(said.String(), p.data) || strings.Contains(said.String(), "serves") {
		t.Errorf("the second start said %q", said.String())
	}
}
