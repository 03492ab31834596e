//go:build unix && !solaris && !aix && !illumos

package store

import (
	"errors"
	"os"

	sys "golang.org/x/sys/unix"
)

// tryLock takes the lock of the open file, or returns errLocked.
func tryLock(f *os.File) error {
	err := sys.Flock(int(f.Fd()), sys.LOCK_EX|sys.LOCK_NB)
	if errors.Is(err, sys.EWOULDBLOCK) {
		return errLocked
	}
	return err
}
