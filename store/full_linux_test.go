package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"

	"golang.org/x/sys/unix"
)

// On a full disk a run is refused with a clear word, what was there stays
// whole, and the next run works once there is room.
func TestFullDisk(t *testing.T) {
	need(t, os.Getuid() == 0, "root to mount a small disk")
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		need(t, false, "the right to mount: "+err.Error())
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	path := filepath.Join(dir, "logbook.db")
	l, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	pl := quay()
	save(t, l, pl, look(noon))

	big := look(noon.Add(time.Hour))
	for i := range 5000 { // more than the disk holds
		big.Coverage = append(big.Coverage, inventory.Coverage{Subject: fmt.Sprintf("device-%d", i), Source: inventory.SourceSNMP,
			Result: inventory.NoAnswer, Why: strings.Repeat("no answer within 2 s; ", 12)})
	}
	id, err := l.Begin(t.Context(), "schedule", big.Started)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Save(t.Context(), id, pl, big, nil, false); !errors.Is(err, store.ErrFull) {
		t.Fatalf("saving more than fits gives %v, want ErrFull", err)
	}
	if err := l.Abort(t.Context(), id, big.Finished, "the disk is full"); err != nil && !errors.Is(err, store.ErrFull) {
		t.Errorf("abort gives %v", err)
	}
	if h := history(t, l, noon); len(h.Runs) != 1 || h.Previous == nil {
		t.Errorf("after it the runs are %+v", h.Runs)
	}
	if got := one[string](t, raw(t, path), "PRAGMA integrity_check"); got != "ok" {
		t.Errorf("integrity: %s", got)
	}
	if err := l.Backup(t.Context(), filepath.Join(dir, "copy.db")); !errors.Is(err, store.ErrFull) {
		t.Errorf("a backup that does not fit gives %v, want ErrFull", err)
	}
	if left, _ := filepath.Glob(dir + "/copy*"); len(left) > 0 {
		t.Errorf("the failed backup left %q", left)
	}
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT, "size=32m"); err != nil {
		t.Fatal(err)
	}
	save(t, l, pl, big)
	if h := history(t, l, noon); len(h.Runs) != 2 {
		t.Errorf("with room again the runs are %+v", h.Runs)
	}
}

// A logbook cannot even begin on a full disk: the word is the same, and no
// half-made file is taken for one later.
func TestFullDiskFromTheStart(t *testing.T) {
	need(t, os.Getuid() == 0, "root to mount a small disk")
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
		need(t, false, "the right to mount: "+err.Error())
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	path := filepath.Join(dir, "logbook.db")
	if l, err := store.Open(t.Context(), path); !errors.Is(err, store.ErrFull) {
		l.Close()
		t.Fatalf("it says %v, want ErrFull", err)
	}
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT, "size=32m"); err != nil {
		t.Fatal(err)
	}
	save(t, openAt(t, path), quay(), look(noon))
}
