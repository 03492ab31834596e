package netns

import (
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/sys/unix"
)

// Do calls f on a thread that has entered n, and returns after it. Sockets
// that f opens stay in n; goroutines that f starts do not enter it. f must not
// end the test (t.Fatal), since it runs in a goroutine of its own.
func (n *Namespace) Do(f func()) {
	n.t.Helper()
	done := make(chan error, 1)
	go func() {
		// Never unlocked: the runtime ends the thread with the goroutine, so
		// that no other goroutine meets a thread in a foreign namespace.
		runtime.LockOSThread()
		err := enter(n.Name)
		if err == nil {
			f()
		}
		done <- err
	}()
	if err := <-done; err != nil {
		n.t.Fatalf("enter namespace %s: %v", n.Name, err)
	}
}

func enter(name string) error {
	file, err := os.Open(filepath.Join("/run/netns", name))
	if err != nil {
		return err
	}
	defer file.Close()
	return unix.Setns(int(file.Fd()), unix.CLONE_NEWNET)
}
