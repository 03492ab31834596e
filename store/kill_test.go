package store_test

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// How often the writer is killed, and how many things a run of it holds.
const (
	kills  = 60 / slower
	things = 25
)

// Rule 2 and 8: a writer is killed at random moments, over and over on one
// file. What it said was stored is there; each run is there whole or not at
// all; no letter is lost or doubled; the file stays sound.
func TestKilledAtRandomMoments(t *testing.T) {
	if path := os.Getenv(childVar); path != "" {
		writeUntilKilled(t, path)
		return
	}
	path := filepath.Join(t.TempDir(), "logbook.db")
	chance := rand.New(rand.NewPCG(1, 26))
	said := map[string]bool{} // what the writers reported as stored
	for range kills {
		cmd := child(t, "TestKilledAtRandomMoments", path)
		pipe, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		listen(pipe, cmd, chance, said)
		cmd.Wait() //nolint:errcheck // it was killed
		whole(t, path, said)
	}
	if len(said) < kills {
		t.Errorf("only %d things were stored before %d kills: the test proves little", len(said), kills)
	}
	t.Logf("%d kills, %d runs and letters reported as stored", kills, len(said))
}

// listen notes what the writer says, and kills it at a random moment after a
// random number of things.
func listen(pipe interface{ Read([]byte) (int, error) }, cmd *exec.Cmd, chance *rand.Rand, said map[string]bool) {
	after, wait := 1+chance.IntN(6), time.Duration(chance.IntN(20_000))*time.Microsecond
	lines := bufio.NewScanner(pipe)
	for n := 0; lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "stored ") {
			said[lines.Text()] = true
			if n++; n == after {
				time.AfterFunc(wait, func() { cmd.Process.Kill() }) //nolint:errcheck // it may have died
			}
		}
	}
}

func writeUntilKilled(t *testing.T, path string) {
	l := openAt(t, path)
	for {
		id, err := l.Begin(t.Context(), "schedule", noon)
		if err != nil {
			t.Fatal(err)
		}
		s := look(noon.Add(time.Duration(id) * time.Minute))
		s.Coverage, s.Ports = nil, nil
		for i := range things {
			s.Coverage = append(s.Coverage, inventory.Coverage{Subject: fmt.Sprint(i), Source: inventory.SourceSNMP, Result: inventory.Complete,
				Why: fmt.Sprint("run ", id)})
			s.Ports = append(s.Ports, inventory.PortState{Switch: "quay-switch", Port: fmt.Sprint(i)})
		}
		f := finding(diff.LinkDown, fmt.Sprintf("quay-switch/%d", id)) // opens one, clears the one before
		if _, err := l.Save(t.Context(), id, quay(), s, []diff.Finding{f}, false); err != nil {
			t.Fatal(err)
		}
		fmt.Printf("stored run %d\n", id)
		week := fmt.Sprintf("2026-W%d", id)
		letters := []store.Letter{{Kind: "digest", Key: week + "/owner", Body: []byte("x")}, {Kind: "digest", Key: week + "/others", Body: []byte("x")}}
		if fresh, err := l.EnqueueDigest(t.Context(), week, letters, noon); err != nil || !fresh {
			t.Fatal(fresh, err)
		}
		fmt.Printf("stored digest %d\n", id)
	}
}

func whole(t *testing.T, path string, said map[string]bool) {
	t.Helper()
	db := raw(t, path)
	defer db.Close()
	if got := one[string](t, db, "PRAGMA integrity_check"); got != "ok" {
		t.Fatalf("integrity: %s", got)
	}
	if n := one[int](t, db, "SELECT count(*) FROM pragma_foreign_key_check"); n != 0 {
		t.Errorf("%d foreign keys point nowhere", n)
	}
	for what, q := range map[string]string{
		"complete runs that are not whole": fmt.Sprintf(`SELECT count(*) FROM runs r WHERE state = 'complete' AND (
			(SELECT count(*) FROM coverage WHERE first <= r.id AND coalesce(until > r.id, 1)) <> %d OR (SELECT count(*) FROM port_samples WHERE at = r.finished) <> %[1]d
			OR (SELECT count(*) FROM episodes WHERE opened = r.finished) <> 1 OR (SELECT count(*) FROM supply_samples WHERE at = r.finished) <> 1
			OR findings <> 1)`, things),
		"runs that left something without being complete": `SELECT count(*) FROM runs r WHERE state <> 'complete' AND EXISTS (SELECT 1 FROM coverage WHERE r.id IN (first, until))`,
		"samples of no complete run":                      `SELECT count(*) FROM port_samples WHERE at NOT IN (SELECT finished FROM runs WHERE state = 'complete')`,
		"more than one run marked as running":             `SELECT max(0, count(*) - 1) FROM runs WHERE state = 'running'`,
		"open findings beside the last run's":             `SELECT max(0, count(*) - 1) FROM episodes WHERE cleared IS NULL`,
		"digests without both their letters":              `SELECT count(*) FROM digests d WHERE (SELECT count(*) FROM spool WHERE key LIKE d.week || '/%') <> 2`,
	} {
		if n := one[int](t, db, q); n != 0 {
			t.Errorf("%s: %d", what, n)
		}
	}
	for s := range said {
		var kind string
		var id int64
		if _, err := fmt.Sscanf(s, "stored %s %d", &kind, &id); err != nil {
			t.Fatalf("%q: %v", s, err)
		}
		q, arg := `SELECT count(*) FROM runs WHERE state = 'complete' AND id = ?`, any(id)
		if kind == "digest" {
			q, arg = `SELECT count(*) FROM digests WHERE week = ?`, fmt.Sprintf("2026-W%d", id)
		}
		if one[int](t, db, q, arg) != 1 {
			t.Errorf("%s was lost", s)
		}
	}
}
