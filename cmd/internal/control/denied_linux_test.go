package control

import (
	"errors"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
)

// asNobody makes this goroutine's thread one without rights in the file system.
// The thread ends with the test, since it stays locked.
func asNobody() {
	runtime.LockOSThread()
	if os.Geteuid() == 0 {
		// Both return the former ID and never an error.
		syscall.RawSyscall(syscall.SYS_SETFSGID, 65534, 0, 0)
		syscall.RawSyscall(syscall.SYS_SETFSUID, 65534, 0, 0)
	}
}

func TestPermissionDenied(t *testing.T) {
	for name, dirMode := range map[string]fs.FileMode{"by the socket": 0o755, "by its directory": 0o700} {
		t.Run(name, func(t *testing.T) {
			// Not t.TempDir: that one is closed to others already.
			outer, err := os.MkdirTemp("", "control")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.RemoveAll(outer) })
			dir := filepath.Join(outer, "run")
			if err := errors.Join(os.Chmod(outer, 0o755), os.Mkdir(dir, 0o755)); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(dir, "s")
			listener, err := Listen(t.Context(), path, "")
			if err != nil {
				t.Fatal(err)
			}
			defer listener.Close()
			socketMode := fs.FileMode(0o660)
			if os.Geteuid() != 0 { // the owner locks himself out
				socketMode = 0
				if dirMode == 0o700 {
					dirMode = 0
				}
			}
			if err := errors.Join(os.Chmod(path, socketMode), os.Chmod(dir, dirMode)); err != nil {
				t.Fatal(err)
			}
			defer os.Chmod(dir, 0o700)
			me, err := user.Current()
			if err != nil {
				t.Fatal(err)
			}
			group, err := user.LookupGroupId(me.Gid)
			if err != nil {
				t.Fatal(err)
			}
			dialErr := make(chan error)
			go func() {
				asNobody()
				_, err := Client{Path: path}.dial(t.Context())
				dialErr <- err
			}()
			err = <-dialErr
			denied, ok := errors.AsType[*PermissionError](err)
			if !ok || denied.Group != group.Name || !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), group.Name) {
				t.Fatalf("got %v, want the group %s", err, group.Name)
			}
		})
	}
}
