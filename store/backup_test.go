package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"boundwalk/store"
)

// Copies taken while runs are written are each whole, open as logbooks of their
// own, and take further runs; others may not read them.
func TestBackupWhileWriting(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "logbook.db")
	l := openAt(t, path)
	save(t, l, quay(), look(noon))
	reader, err := store.OpenReader(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	const runs, copies = 40, 5
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := range runs {
			if _, err := trySave(l, quay(), look(noon.Add(time.Duration(1+i)*time.Minute)), false); err != nil {
				t.Errorf("run beside a backup: %v", err)
			}
		}
	})
	name := func(i int) string { return filepath.Join(dir, fmt.Sprintf("copy %d?.db", i)) }
	for i := range copies {
		if err := reader.Backup(t.Context(), name(i)); err != nil {
			t.Errorf("backup: %v", err)
		}
	}
	wg.Wait()
	for i := range copies {
		if info, err := os.Stat(name(i)); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("copy %d: %v, %v", i, info, err)
		}
		c := openAt(t, name(i))
		h := history(t, c, noon)
		if len(h.Runs) == 0 || h.Previous == nil || !h.Previous.Finished.Equal(h.Runs[0].At) {
			t.Errorf("copy %d is torn: %+v", i, h.Runs)
		}
		if got := one[string](t, c.DB(), "PRAGMA integrity_check"); got != "ok" {
			t.Errorf("copy %d: %s", i, got)
		}
		save(t, c, quay(), look(noon.Add(24*time.Hour))) // restored, it goes on
		c.Close()
	}
	if left, _ := filepath.Glob(dir + "/*.part"); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
	if rows, _ := l.Runs(t.Context(), 100); len(rows) != runs+1 {
		t.Errorf("%d runs, want %d", len(rows), runs+1)
	}
}

func TestBackupRefusals(t *testing.T) {
	l := open(t)
	save(t, l, quay(), look(noon))
	dir := t.TempDir()
	path := filepath.Join(dir, "copy.db")
	if err := os.WriteFile(path, []byte("precious"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := l.Backup(t.Context(), path); err == nil {
		t.Error("a file that exists was taken as the target")
	}
	if text, _ := os.ReadFile(path); string(text) != "precious" {
		t.Errorf("it holds %q now", text)
	}
	if err := l.Backup(t.Context(), filepath.Join(dir, "no", "copy.db")); err == nil {
		t.Error("a backup into no folder succeeded")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := l.Backup(ended, filepath.Join(dir, "late.db")); err == nil {
		t.Error("a backup after the context's end succeeded")
	}
	if files, _ := filepath.Glob(dir + "/*"); len(files) != 1 {
		t.Errorf("the refused ones left %q", files)
	}
}
