package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"
)

// lockLook is how often a waiting run looks whether the other has ended.
const lockLook = 100 * time.Millisecond

// errLocked is returned by tryLock while another process has the lock.
var errLocked = errors.New("another run is under way")

// runLock is held from a run's beginning to its end, and released by the
// kernel when its process dies. So whoever holds it knows that every other run
// marked as running is dead. It is no lock of SQLite: the database stays free.
type runLock struct {
	mu sync.Mutex
	f  *os.File // nil: not held
}

// take waits until no other process runs, or ctx ends.
func (l *runLock) take(ctx context.Context, path string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.f != nil {
		return nil // this process's own earlier run
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o640)
	if err != nil {
		return err
	}
	look := time.NewTicker(lockLook)
	defer look.Stop()
	for {
		err := tryLock(f)
		switch {
		case err == nil:
			l.f = f
			return nil
		case !errors.Is(err, errLocked):
			f.Close()
			return fmt.Errorf("lock %s: %w", path, err)
		}
		select {
		case <-ctx.Done():
			f.Close()
			return fmt.Errorf("%w: %w", err, context.Cause(ctx))
		case <-look.C:
		}
	}
}

func (l *runLock) release() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.f != nil {
		l.f.Close()
		l.f = nil
	}
}
