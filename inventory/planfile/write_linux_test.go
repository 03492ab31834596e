package planfile_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"boundwalk/inventory/planfile"
)

// withoutRights calls f on a thread that is nobody's, where this process is
// root's. The thread ends with f, since it stays locked.
func withoutRights(f func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		if os.Geteuid() == 0 {
			runtime.LockOSThread()
			// Raw, so that they change this thread alone.
			syscall.RawSyscall(syscall.SYS_SETGROUPS, 0, 0, 0)
			syscall.RawSyscall(syscall.SYS_SETRESGID, 65534, 65534, 65534)
			syscall.RawSyscall(syscall.SYS_SETRESUID, 65534, 65534, 65534)
		}
		f()
	}()
	<-done
}

// A directory in which no file may be made, or a file of someone else: the plan
// stays, nothing is left beside it, and the error says which of them it is.
func TestWriteWithoutRights(t *testing.T) {
	others := os.FileMode(0o644) // root's, which nobody may only read
	if os.Geteuid() != 0 {
		others = 0o444
	}
	for name, c := range map[string]struct {
		dir, file os.FileMode
		want      string
	}{
		"the directory": {dir: 0o555, file: 0o666, want: "files cannot be made in its directory"},
		"the file":      {dir: 0o777, file: others, want: "the plan is read-only"},
	} {
		t.Run(name, func(t *testing.T) {
			// Not t.TempDir: that one is closed to others already.
			outer, err := os.MkdirTemp("", "planfile")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.RemoveAll(outer) })
			dir := filepath.Join(outer, "etc")
			path := filepath.Join(dir, "plan.yaml")
			if err := errors.Join(os.Chmod(outer, 0o755), os.Mkdir(dir, 0o755), os.WriteFile(path, []byte(editable), 0o600), os.Chmod(path, c.file),
				os.Chmod(dir, c.dir)); err != nil {
				t.Fatal(err)
			}
			defer os.Chmod(dir, 0o700)
			var got error
			withoutRights(func() { got = planfile.Write(path, []byte(editable), []byte("# ours\n")) })
			if !errors.Is(got, planfile.ErrReadOnly) || !strings.Contains(got.Error(), c.want) {
				t.Errorf("got %v, want words with %q", got, c.want)
			}
			if left, err := os.ReadDir(dir); err != nil || len(left) != 1 || content(t, path) != editable {
				t.Errorf("%d files are left, %v", len(left), err)
			}
		})
	}
}
