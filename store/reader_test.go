package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"boundwalk/store"
)

// Someone who may only read the file reads it beside the daemon, after the
// daemon ended, and after it was killed; and can write nothing.
func TestReaderWithoutRights(t *testing.T) {
	if path := os.Getenv(childVar); path != "" {
		readOnly(t, path)
		return
	}
	need(t, os.Getuid() == 0, "root to become another user")
	prepare := func(t *testing.T) string {
		path := filepath.Join(publicDir(t), "logbook.db")
		l := openAt(t, path)
		save(t, l, quay(), look(noon))
		if err := os.Chmod(path, 0o644); err != nil {
			t.Fatal(err)
		}
		l.Close()
		return path
	}
	check := func(t *testing.T, path string) {
		t.Helper()
		asNobody(t, "TestReaderWithoutRights", path)
	}
	t.Run("after the daemon", func(t *testing.T) {
		path := prepare(t)
		if _, err := os.Stat(path + "-wal"); err == nil {
			t.Fatal("a clean end left a -wal file: this test needs none")
		}
		check(t, path)
	})
	t.Run("beside the daemon", func(t *testing.T) {
		path := prepare(t)
		l := openAt(t, path)
		save(t, l, quay(), look(noon)) // lies in the -wal file
		check(t, path)
	})
	t.Run("after a kill", func(t *testing.T) {
		path := prepare(t)
		out, err := child(t, "TestKilledWriter", path).CombinedOutput()
		if _, e := os.Stat(path + "-wal"); e != nil {
			t.Fatalf("the killed writer left no -wal file: %v, %v\n%s", e, err, out)
		}
		check(t, path)
	})
}

// TestKilledWriter is the child of "after a kill": it saves and dies.
func TestKilledWriter(t *testing.T) {
	path := os.Getenv(childVar)
	if path == "" {
		return
	}
	save(t, openAt(t, path), quay(), look(noon))
	killSelf()
}

func readOnly(t *testing.T, path string) {
	l, err := store.OpenReader(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	rows, err := l.Runs(t.Context(), 10)
	if err != nil || len(rows) == 0 || rows[0].State != "complete" {
		t.Errorf("runs: %+v, %v", rows, err)
	}
	if h := history(t, l, noon); h.Previous == nil || len(h.Previous.Devices) != 2 {
		t.Errorf("the last snapshot is %+v", h.Previous)
	}
	if err := l.SetFact(t.Context(), "x", "y"); err == nil {
		t.Error("a reader could write")
	}
	if err := l.Backup(t.Context(), filepath.Join(t.TempDir(), "copy.db")); err != nil {
		t.Errorf("backup by a reader: %v", err)
	}
}
