package store_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/store"
)

func TestOpenMakesAndReopens(t *testing.T) {
	for _, name := range []string{"logbook.db", "log ?mode=ro&x#%41 ü.db"} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), name)
			l := openAt(t, path)
			save(t, l, quay(), look(noon))
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			info, err := os.Stat(path)
			if err != nil || info.Mode().Perm()&0o007 != 0 {
				t.Errorf("the file is %v, %v; others may not touch it", info.Mode(), err)
			}
			rows, err := openAt(t, path).Runs(t.Context(), 5)
			if err != nil || len(rows) != 1 || rows[0].State != "complete" || rows[0].Devices != 2 {
				t.Errorf("runs after reopening: %+v, %v", rows, err)
			}
			if files, _ := filepath.Glob(filepath.Dir(path) + "/*"); len(files) > 4 {
				t.Errorf("files beside the logbook: %q", files)
			}
		})
	}
}

// Each migration that has landed stays as it is: files of its version exist.
func TestMigrationsAreNeverEdited(t *testing.T) {
	landed := map[string]string{
		"0001.sql": "d712a0aa6bd6f887f59fe01cbaabb8caa171b846e03a536d5c132739c5306b62",
		"0002.sql": "a6678d8d0a16c22d9ff766729570be71aec9bb1d7b40759c7d458c97984932fe",
		"0003.sql": "017eb4a8328bd2e5928c2c839806ae01ecefc67b025734954cfa0e9394168a31",
		"0004.sql": "13f00e53e8c7cd312cf5964ea47ed7cf051cbfc1c9af0cedda6134d99aca803a",
		"0005.sql": "0f7a233f760eebf3a531bd7a295acb4db4c9cc2741fcb1eef441d4aaad0ddc65",
	}
	files, err := filepath.Glob("migrations/*.sql")
	if err != nil || len(files) < len(landed) {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Base(f)
		if got := fmt.Sprintf("%x", sha256.Sum256(text)); got != landed[name] {
			t.Errorf("%s has the sum %s, want %s (a new migration is added here)", name, got, landed[name])
		}
	}
}

// oldFile makes a logbook as a program of that version left it: each version's
// tables, filled with rows before the next one's came.
func oldFile(t *testing.T, version int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "logbook.db")
	db := raw(t, path)
	defer db.Close()
	for v := 1; v <= version; v++ {
		for _, f := range []string{fmt.Sprintf("migrations/%04d.sql", v), fmt.Sprintf("testdata/v%d.sql", v)} {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := db.Exec(string(text)); err != nil {
				t.Fatalf("%s: %v", f, err)
			}
		}
	}
	return path
}

// A file of each version before this one, with rows in it, is refused by a
// reader, brought up to date by a writer, and keeps what it held.
func TestUpgradeOfOldFiles(t *testing.T) {
	for version := 1; version < migrationCount(t); version++ {
		t.Run(fmt.Sprint(version), func(t *testing.T) {
			path := oldFile(t, version)
			if _, err := store.OpenReader(t.Context(), path); err == nil || !strings.Contains(err.Error(), "older boundwalk") {
				t.Errorf("a reader says %v, want that the file is of an older boundwalk", err)
			}
			l := openAt(t, path)
			db := raw(t, path)
			if v, want := one[int](t, db, "PRAGMA user_version"), migrationCount(t); v != want {
				t.Errorf("version is %d, want %d", v, want)
			}
			if got := one[string](t, db, "PRAGMA integrity_check"); got != "ok" {
				t.Errorf("integrity: %s", got)
			}
			h := history(t, l, noon)
			if k := len(h.Runs) - 1; k < 0 || h.Runs[k].ID != 7 || h.Open["link-down/quay-switch/5"].Kind != "link-down" {
				t.Errorf("of the old file's rows are left: %+v, %+v", h.Runs, h.Open)
			}
			if kept := version >= 4; kept != (h.Previous != nil && h.Previous.Started.Year() == 2026) {
				t.Errorf("the snapshot is %+v, kept: %v", h.Previous, kept)
			}
			if week, _, err := l.LastDigest(t.Context()); week != "2026-W47" || err != nil {
				t.Errorf("last digest %q, %v", week, err)
			}
			tries, err := l.LoginTries(t.Context(), "slip-cam", nil)
			if want := min(version-1, 1); err != nil || len(tries) != want {
				t.Errorf("%d login tries, want %d, %v", len(tries), want, err)
			}
			want := "yard complete 7 -"
			if version >= 3 { // until the run that no longer said so
				want = "quay-switch complete 9 11, yard complete 11 -, yard complete 7 10, yard partial 10 11"
			}
			const spans = `SELECT group_concat(s, ', ') FROM (SELECT subject || ' ' || result || ' ' || first || ' ' || coalesce(until, '-') AS s FROM coverage ORDER BY s)`
			if got := one[string](t, db, spans); got != want {
				t.Errorf("coverage is\n%s, want\n%s", got, want)
			}
			save(t, l, quay(), look(noon))
		})
	}
}

func migrationCount(t *testing.T) int {
	files, err := filepath.Glob("migrations/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	return len(files)
}

// What is no logbook is refused with a clear word, by writer and reader, and
// not a byte of it changes.
func TestRefusedFiles(t *testing.T) {
	fill := func(sql string) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			db := raw(t, path)
			if _, err := db.Exec(sql); err != nil {
				t.Fatal(err)
			}
			db.Close()
		}
	}
	write := func(text string) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []struct {
		name   string
		make   func(*testing.T, string)
		writer error
		reader error
		words  string
	}{
		{"of a newer program", func(t *testing.T, path string) {
			openAt(t, path).Close()
			fill("PRAGMA user_version = 9000")(t, path)
		}, store.ErrNewer, store.ErrNewer, "newer boundwalk"},
		{"no database", write(strings.Repeat("site: {name: Tern Quay}\n", 400)), store.ErrNotLogbook, store.ErrNotLogbook, "not a logbook"},
		{"short and no database", write("hello"), store.ErrNotLogbook, store.ErrNotLogbook, "not a logbook"},
		{"another program's tables", fill("CREATE TABLE runs (a)"), store.ErrNotLogbook, store.ErrNotLogbook, "not a logbook"},
		{"another program's mark", fill("PRAGMA application_id = 7; CREATE TABLE t (a)"), store.ErrNotLogbook, store.ErrNotLogbook, "not a logbook"},
		{"another program's version, no tables", fill("PRAGMA user_version = 3"), store.ErrNotLogbook, store.ErrNotLogbook, "not a logbook"},
		{"empty, to a reader", write(""), nil, store.ErrNoLogbook, "no logbook yet"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "logbook.db")
			c.make(t, path)
			before, _ := os.ReadFile(path)
			_, err := store.OpenReader(t.Context(), path)
			if !errors.Is(err, c.reader) || !strings.Contains(err.Error(), c.words) || !strings.Contains(err.Error(), path) {
				t.Errorf("the reader says %v, want %v and the path", err, c.reader)
			}
			l, err := store.Open(t.Context(), path)
			if err == nil {
				l.Close()
			}
			if !errors.Is(err, c.writer) {
				t.Errorf("the writer says %v, want %v", err, c.writer)
			}
			if after, _ := os.ReadFile(path); c.writer != nil && string(after) != string(before) {
				t.Errorf("the foreign file was changed")
			}
		})
	}
}

func TestOpenWhereThereIsNoPlace(t *testing.T) {
	dir := t.TempDir()
	missing := filepath.Join(dir, "no", "such", "logbook.db")
	if _, err := store.Open(t.Context(), missing); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), missing) {
		t.Errorf("a missing directory gives %v", err)
	}
	if _, err := store.OpenReader(t.Context(), missing); !errors.Is(err, store.ErrNoLogbook) {
		t.Errorf("a reader of it gets %v, want ErrNoLogbook", err)
	}
	if _, err := store.Open(t.Context(), dir); err == nil || !strings.Contains(err.Error(), dir+": this user may not open it") {
		t.Errorf("a directory gives %v", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := store.Open(ended, filepath.Join(dir, "logbook.db")); !errors.Is(err, context.Canceled) {
		t.Errorf("an ended context gives %v", err)
	}
}

// A file that the user may not write is a clear error to Open; what it held stays.
func TestOpenReadOnlyFile(t *testing.T) {
	if path := os.Getenv(childVar); path != "" {
		_, err := store.Open(t.Context(), path)
		if err == nil || !strings.Contains(err.Error(), "this user may not") {
			t.Errorf("it says %v, want that this user may not", err)
		}
		return
	}
	need(t, os.Getuid() == 0, "root to become another user")
	path := filepath.Join(publicDir(t), "logbook.db")
	l := openAt(t, path)
	save(t, l, quay(), look(noon))
	l.Close()
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	asNobody(t, "TestOpenReadOnlyFile", path)
}

// nobody is an identity without rights.
const nobody = 65534

// asNobody does a test again as a user without rights.
func asNobody(t *testing.T, test, path string) {
	t.Helper()
	cmd := child(t, test, path)
	become(cmd, nobody)
	if out, err := cmd.CombinedOutput(); err != nil || !strings.Contains(string(out), "--- PASS: "+test) {
		t.Errorf("as another user: %v\n%s", err, out)
	}
}

// publicDir is a folder that every user may look into.
func publicDir(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for _, d := range []string{dir, filepath.Dir(dir)} {
		if err := os.Chmod(d, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}
