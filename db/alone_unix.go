//go:build unix && !solaris && !illumos && !aix

package db

import (
	"errors"
	"os"
	"syscall"
)

// lockFile locks a file for this process alone, until it is closed.
func lockFile(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errHeld
	}
	return err
}
