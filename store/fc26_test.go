package store_test

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"boundwalk/store"
)

// FC-26: A holds a write transaction; B, another process, begins a run: it
// waits and succeeds.
func TestFC26OtherProcessWaits(t *testing.T) {
	if path := os.Getenv(childVar); path != "" {
		fmt.Println("beginning")
		save(t, openAt(t, path), quay(), look(noon.Add(time.Hour)))
		return
	}
	path := filepath.Join(t.TempDir(), "logbook.db")
	l := openAt(t, path)
	save(t, l, quay(), look(noon))
	a := hold(t, path)

	cmd := child(t, "TestFC26OtherProcessWaits", path)
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(pipe)
	for lines.Scan() && lines.Text() != "beginning" {
	}
	until(t, "B has the file open", func() bool { return hasOpen(cmd.Process.Pid, path+"-wal") })
	if n := one[int](t, raw(t, path), "SELECT count(*) FROM runs"); n != 1 {
		t.Fatalf("%d runs while A holds its transaction, want 1", n)
	}
	if err := a.Commit(); err != nil {
		t.Fatal(err)
	}
	text := ""
	for lines.Scan() {
		text += lines.Text() + "\n"
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("B did not succeed after A's commit: %v\n%s", err, text)
	}
	if rows, _ := l.Runs(t.Context(), 5); len(rows) != 2 || rows[0].State != "complete" {
		t.Errorf("runs: %+v", rows)
	}
}

// until waits for a condition, for 20 s at most.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	look := time.NewTicker(5 * time.Millisecond)
	defer look.Stop()
	for end := time.Now().Add(20 * time.Second); !ok(); <-look.C {
		if time.Now().After(end) {
			t.Fatalf("in vain waited until %s", what)
		}
	}
}

// hasOpen reports whether a process has a file open.
func hasOpen(pid int, path string) bool {
	fds, _ := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	return slices.ContainsFunc(fds, func(fd string) bool {
		to, err := os.Readlink(fd)
		return err == nil && to == path
	})
}

// hold opens a write transaction beside the package, as another program would.
func hold(t *testing.T, path string) *sql.Tx {
	t.Helper()
	db := raw(t, path)
	db.SetMaxOpenConns(1)
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { tx.Rollback() }) //nolint:errcheck // mostly committed by then
	if _, err := tx.Exec(`INSERT INTO facts (name, value) VALUES ('held', '1')`); err != nil {
		t.Fatal(err)
	}
	return tx
}

// FC-26: B reads, A commits, B writes: History before and Save after another's
// commit never meet a stale read.
func TestFC26ReadThenWrite(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	b := openAt(t, path)
	id, err := b.Begin(t.Context(), "person", noon)
	if err != nil {
		t.Fatal(err)
	}
	history(t, b, noon)
	if err := hold(t, path).Commit(); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Save(t.Context(), id, quay(), look(noon), nil, false); err != nil {
		t.Errorf("saving after another's commit: %v", err)
	}
}

// A wait that is longer than anyone should hold the file ends with ErrBusy, and
// a context ends it at once.
func TestFC26WaitEnds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	l := openAt(t, path)
	hold(t, path)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if err := l.SetFact(ctx, "x", "y"); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("an ended context gives %v", err)
	}
	if _, err := l.DB().Exec("PRAGMA busy_timeout = 1"); err != nil {
		t.Fatal(err)
	}
	l.DB().SetMaxOpenConns(1)
	if err := l.SetFact(t.Context(), "x", "y"); !errors.Is(err, store.ErrBusy) {
		t.Errorf("a file that stays locked gives %v, want ErrBusy", err)
	}
}

// FC-26: each of ten connections has the wait, foreign keys and full sync.
func TestFC26EachConnectionHasTheSettings(t *testing.T) {
	l := open(t)
	l.DB().SetMaxOpenConns(10)
	for i := range 10 {
		c, err := l.DB().Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close() // all ten stay open together
		for _, s := range []struct {
			pragma string
			want   string
		}{{"busy_timeout", "10000"}, {"foreign_keys", "1"}, {"synchronous", "2"}, {"journal_mode", "wal"}} {
			var got string
			if err := c.QueryRowContext(t.Context(), "PRAGMA "+s.pragma).Scan(&got); err != nil || got != s.want {
				t.Errorf("connection %d: %s is %s, %v; want %s", i, s.pragma, got, err, s.want)
			}
		}
	}
}

// FC-26: times come back equal whatever zone they were said in, and their order
// holds across the hour that comes twice.
func TestFC26Times(t *testing.T) {
	l := open(t)
	kathmandu, err := time.LoadLocation("Asia/Kathmandu")
	if err != nil {
		t.Fatal(err)
	}
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	// 2026-10-25 01:30 comes twice in Dublin: at 00:30 and at 01:30 UTC.
	first := time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC)
	times := []time.Time{first.In(dublin), first.Add(time.Hour).In(dublin), first.Add(2 * time.Hour).In(kathmandu), time.Now().In(kathmandu)}
	if times[0].Format("15:04") != "01:30" || times[1].Format("15:04") != "01:30" {
		t.Fatalf("the clock does not change as this test thinks: %v, %v", times[0], times[1])
	}
	for _, at := range times {
		save(t, l, quay(), look(at))
	}
	rows, err := l.Runs(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	for i, at := range times {
		if got := rows[len(rows)-1-i].Finished; !got.Equal(at.Truncate(time.Second)) {
			t.Errorf("run %d ended %v, want %v", i, got, at)
		}
	}
	if n := one[int](t, l.DB(), "SELECT count(*) FROM (SELECT finished, lag(finished) OVER (ORDER BY id) AS before FROM runs) WHERE finished <= before"); n != 0 {
		t.Errorf("%d runs are out of order by their times", n)
	}
	if got := one[string](t, l.DB(), "SELECT datetime(finished, 'unixepoch') FROM runs ORDER BY id LIMIT 1"); got != "2026-10-25 00:30:00" {
		t.Errorf("the database reads the time as %q", got)
	}
}

// Many writers and readers at once, as a daemon and its commands are: all
// succeed, none sees half a run.
func TestFC26Crowd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	save(t, openAt(t, path), quay(), look(noon))
	var wg sync.WaitGroup
	for i := range 4 {
		l := openAt(t, path)
		wg.Go(func() {
			for k := range 5 {
				s := look(noon.Add(time.Duration(1+i*100+k) * time.Minute))
				if _, err := trySave(l, quay(), s, false); err != nil {
					t.Errorf("run: %v", err)
				}
				if err := l.SavePulse(context.Background(), quay(), store.PulseSample{At: s.Finished, Up: map[string]bool{"slip-cam": true}}); err != nil {
					t.Errorf("pulse: %v", err)
				}
			}
		})
		for range 6 { // more than the pool has connections
			wg.Go(func() {
				h, err := l.History(context.Background(), noon, time.UTC)
				if err != nil {
					t.Errorf("history: %v", err)
					return
				}
				if h.Previous == nil || len(h.Runs) == 0 || !h.Previous.Finished.Equal(h.Runs[0].At) {
					t.Errorf("history is torn: the snapshot is of %v, the last run of %v", h.Previous.Finished, h.Runs[0].At)
				}
			})
		}
	}
	wg.Wait()
	if n := one[int](t, raw(t, path), "SELECT count(*) FROM runs WHERE state = 'complete'"); n != 21 {
		t.Errorf("%d complete runs, want 21", n)
	}
}

// A run of another process is waited for, not marked aborted under its hands; a
// dead one's is.
func TestRunsOfTwoProcesses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	a, b := openAt(t, path), openAt(t, path)
	id, err := a.Begin(t.Context(), "schedule", noon)
	if err != nil {
		t.Fatal(err)
	}
	impatient, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	if _, err := b.Begin(impatient, "person", noon); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("beginning beside a live run gives %v", err)
	}
	began := make(chan int64)
	go func() {
		id, err := b.Begin(context.Background(), "person", noon)
		if err != nil {
			t.Errorf("waiting for the other run: %v", err)
		}
		began <- id
	}()
	if _, err := a.Save(t.Context(), id, quay(), look(noon), nil, false); err != nil {
		t.Errorf("the first run was disturbed: %v", err)
	}
	dead := <-began
	if err := b.Close(); err != nil { // as if it had died in mid-run
		t.Fatal(err)
	}
	if _, err := a.Begin(t.Context(), "schedule", noon); err != nil {
		t.Fatal(err)
	}
	rows, err := a.Runs(t.Context(), 9)
	if err != nil || len(rows) != 3 || rows[1].ID != dead || rows[1].State != "aborted" || rows[2].State != "complete" {
		t.Errorf("runs: %+v, %v", rows, err)
	}
}

// An aborted run is in the list with its reason, and History never knows it.
func TestAbortedRunIsNeverCompared(t *testing.T) {
	l := open(t)
	save(t, l, quay(), look(noon))
	id, err := l.Begin(t.Context(), "person", noon.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	s := look(noon.Add(time.Hour))
	s.Aborted = true
	if _, err := l.Save(t.Context(), id, quay(), s, nil, false); err == nil {
		t.Error("an aborted run was stored")
	}
	if err := l.Abort(t.Context(), id, noon.Add(time.Hour), "terminated"); err != nil {
		t.Fatal(err)
	}
	s.Aborted = false
	if _, err := l.Save(t.Context(), id, quay(), s, nil, false); err == nil {
		t.Error("a run that has ended was stored again")
	}
	rows, _ := l.Runs(t.Context(), 1)
	if r := rows[0]; r.State != "aborted" || r.Why != "terminated" || !r.Finished.Equal(noon.Add(time.Hour)) {
		t.Errorf("the row is %+v", r)
	}
	if h := history(t, l, noon); len(h.Runs) != 1 || !h.Previous.Finished.Equal(noon) {
		t.Errorf("history has %+v", h.Runs)
	}
}
