//go:build unix

package planfile_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"boundwalk/inventory/planfile"
)

func planIn(t *testing.T, mode os.FileMode) (dir, path string) {
	t.Helper()
	dir = t.TempDir()
	path = filepath.Join(dir, "plan.yaml")
	if err := os.WriteFile(path, []byte(editable), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
	return dir, path
}

func content(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestWriteKeepsModeAndTheOldFile(t *testing.T) {
	dir, path := planIn(t, 0o664) // a mode that no usual umask gives
	f, err := planfile.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i, room := range []string{"shed", "office"} {
		text, err := f.Edit(planfile.Set("one", "room", room))
		if err != nil {
			t.Fatal(err)
		}
		if err := planfile.Write(path, f.Text(), text); err != nil {
			t.Fatal(err)
		}
		if content(t, path) != string(text) || content(t, path+"~") != string(f.Text()) {
			t.Errorf("write %d: the plan or the copy of the old one is wrong", i+1)
		}
		if f, err = planfile.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	}
	for _, p := range []string{path, path + "~"} {
		info, err := os.Stat(p)
		if err != nil || info.Mode().Perm() != 0o664 {
			t.Errorf("%s has mode %v, %v", filepath.Base(p), info.Mode(), err)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 2 {
		t.Errorf("the directory holds %v, %v; want the plan and its copy", left, err)
	}
}

func TestWriteKeepsTheOwner(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root may give a file away")
	}
	_, path := planIn(t, 0o640)
	if err := os.Chown(path, 4242, 4343); err != nil {
		t.Fatal(err)
	}
	if err := planfile.Write(path, []byte(editable), []byte("# new\n")); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{path, path + "~"} {
		info, err := os.Stat(p)
		if err != nil {
			t.Fatal(err)
		}
		if st := info.Sys().(*syscall.Stat_t); st.Uid != 4242 || st.Gid != 4343 {
			t.Errorf("%s belongs to %d:%d", p, st.Uid, st.Gid)
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	t.Run("a file that changed meanwhile", func(t *testing.T) {
		_, path := planIn(t, 0o600)
		if err := os.WriteFile(path, []byte("# by someone else\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		err := planfile.Write(path, []byte(editable), []byte("# ours\n"))
		if !errors.Is(err, planfile.ErrChanged) || content(t, path) != "# by someone else\n" {
			t.Errorf("got %v, and the file holds %q", err, content(t, path))
		}
	})
	t.Run("a read-only file", func(t *testing.T) {
		dir, path := planIn(t, 0o444)
		err := planfile.Write(path, []byte(editable), []byte("# ours\n"))
		if !errors.Is(err, planfile.ErrReadOnly) || !strings.Contains(err.Error(), "0444") || content(t, path) != editable {
			t.Errorf("got %v", err)
		}
		if _, err := os.Stat(filepath.Join(dir, "plan.yaml~")); err == nil {
			t.Error("a copy was made of a file that stays")
		}
	})
	t.Run("a directory", func(t *testing.T) {
		if err := planfile.Write(t.TempDir(), nil, []byte("# ours\n")); err == nil {
			t.Error("it was written")
		}
	})
	t.Run("a file that is gone", func(t *testing.T) {
		if err := planfile.Write(filepath.Join(t.TempDir(), "plan.yaml"), nil, nil); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("a text beyond the limit", func(t *testing.T) {
		_, path := planIn(t, 0o600)
		if err := planfile.Write(path, []byte(editable), bytes.Repeat([]byte("#"), planfile.MaxSize+1)); err == nil {
			t.Error("it was written")
		}
	})
}

func TestWriteFollowsALink(t *testing.T) {
	dir, path := planIn(t, 0o600)
	link := filepath.Join(dir, "link.yaml")
	if err := os.Symlink("plan.yaml", link); err != nil {
		t.Fatal(err)
	}
	if err := planfile.Write(link, []byte(editable), []byte("# new\n")); err != nil {
		t.Fatal(err)
	}
	if to, err := os.Readlink(link); err != nil || to != "plan.yaml" || content(t, path) != "# new\n" {
		t.Errorf("the link leads to %q, %v; the file holds %q", to, err, content(t, path))
	}
}

// Of several accepts at once one wins, and the others are told.
func TestWritesAtOnce(t *testing.T) {
	_, path := planIn(t, 0o600)
	errs := make([]error, 8)
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() { errs[i] = planfile.Write(path, []byte(editable), []byte("# "+strings.Repeat("x", i)+"\n")) })
	}
	wg.Wait()
	won := 0
	for i, err := range errs {
		switch {
		case err == nil:
			won++
			if content(t, path) != "# "+strings.Repeat("x", i)+"\n" {
				t.Errorf("writer %d won, and the file holds %q", i, content(t, path))
			}
		case !errors.Is(err, planfile.ErrChanged):
			t.Errorf("writer %d: %v", i, err)
		}
	}
	if won != 1 || content(t, path+"~") != editable {
		t.Errorf("%d writers won", won)
	}
}

func TestDiffHidesPasswords(t *testing.T) {
	f := parse(t, `site: {name: x}
networks: {yard: {subnet: 203.0.113.0/25}}
devices:
  hub: {role: switch}
  one: {role: camera, at: hub/1, factory_login: {over: form, user: admin, password: "s3cret", fields: {token: s3cret}}}
service: {webhook: "https://example.net/s3cret"}
`)
	text, err := f.Edit(planfile.Set("one", "at", "hub/2"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := f.Diff(text)
	if err != nil {
		t.Fatal(err)
	}
	want := `--- plan.yaml
+++ plan.yaml (changed)
@@ -2,5 +2,5 @@
 networks: {yard: {subnet: 203.0.113.0/25}}
 devices:
   hub: {role: switch}
-  one: {role: camera, at: hub/1, factory_login: {over: form, user: admin, password: (hidden), fields: {token: (hidden)}}}
+  one: {role: camera, at: hub/2, factory_login: {over: form, user: admin, password: (hidden), fields: {token: (hidden)}}}
 service: {webhook: (hidden)}
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if same, err := f.Diff(f.Text()); same != "" || err != nil {
		t.Errorf("no change is %q, %v", same, err)
	}
}
