// Package program builds boundwalk for tests that run the program itself, as a
// process beside real daemons: once for each test binary.
package program

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
)

var built struct {
	once sync.Once
	dir  string
	err  error
}

// Main runs the tests of a package, and takes away what Built made. It returns
// the exit code; TestMain calls it.
func Main(m *testing.M) int {
	code := m.Run()
	if built.dir != "" {
		os.RemoveAll(built.dir)
	}
	return code
}

// Built returns the path of the program, which any user may run. Each caller's
// package has [Main] in its TestMain.
func Built(t testing.TB) string {
	t.Helper()
	built.once.Do(func() {
		if built.dir, built.err = os.MkdirTemp("", "bwlab"); built.err != nil {
			return
		}
		if built.err = os.Chmod(built.dir, 0o755); built.err != nil {
			return
		}
		build := exec.Command("go", "build", "-o", built.dir, "boundwalk/cmd/boundwalk")
		if out, err := build.CombinedOutput(); err != nil {
			built.err = fmt.Errorf("%w\n%s", err, out)
		}
	})
	if built.err != nil {
		t.Fatalf("build: %v", built.err)
	}
	return filepath.Join(built.dir, "boundwalk")
}
