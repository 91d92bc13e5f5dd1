package localpg

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// ErrInUse means that another process runs its server on the data folder.
var ErrInUse = errors.New("the data folder is in use by another Coatbook server")

// takeLock claims the data folder for this process until the file is closed or the process ends, however it
// ends. The file itself stays: removing it would let two processes lock two different files of one name.
func takeLock(dir string) (*os.File, error) {
	file, err := os.OpenFile(filepath.Join(dir, "server.lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("data folder: %w", err)
	}
	if err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer file.Close()
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("lock %s: %w", file.Name(), err)
		}
		holder, _ := io.ReadAll(io.LimitReader(file, 32)) // for the message only
		return nil, fmt.Errorf("%w: %s (process %s)", ErrInUse, dir, strings.TrimSpace(string(holder)))
	}
	if err := writeHolder(file); err != nil {
		file.Close()
		return nil, fmt.Errorf("lock %s: %w", file.Name(), err)
	}
	return file, nil
}

// writeHolder leaves our process id for the message that a second server prints.
func writeHolder(file *os.File) error {
	if err := file.Truncate(0); err != nil {
		return err
	}
	_, err := file.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	return err
}
