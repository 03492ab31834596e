package program

import (
	"bytes"
	"compress/gzip"
	"database/sql"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	_ "modernc.org/sqlite" // the driver
)

// Logbook is every byte of a logbook in the site's folder and of its log of changes,
// and behind them in plain what lies in it compressed, which are the snapshots: a
// search sees all that is kept. The snapshots are counted, since without one it
// proves little.
func (s *Site) Logbook(name string) (all []byte, snapshots int) {
	s.t.Helper()
	dir := s.t.TempDir() // to read it leaves marks beside it
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(filepath.Join(s.Dir, name+end))
		if os.IsNotExist(err) && end != "" {
			continue
		}
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, "copy.db"+end), b, 0o600)
		}
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, b...)
	}
	db, err := sql.Open("sqlite", filepath.Join(dir, "copy.db"))
	if err != nil {
		s.t.Fatal(err)
	}
	defer db.Close()
	for _, blob := range blobs(s.t, db) {
		z, err := gzip.NewReader(bytes.NewReader(blob))
		if err != nil {
			continue // it lies in plain
		}
		plain, err := io.ReadAll(z)
		if err != nil {
			s.t.Fatalf("%s: %v", name, err)
		}
		all, snapshots = append(all, plain...), snapshots+1
	}
	return all, snapshots
}

// blobs are all values of all tables that are bytes.
func blobs(t testing.TB, db *sql.DB) [][]byte {
	t.Helper()
	var tables []string
	must(t, each(db, `SELECT name FROM sqlite_schema WHERE type = 'table'`, func(row []any) { tables = append(tables, row[0].(string)) }))
	var out [][]byte
	for _, table := range tables {
		must(t, each(db, fmt.Sprintf(`SELECT * FROM %q`, table), func(row []any) {
			for _, v := range row {
				if b, ok := v.([]byte); ok {
					out = append(out, b)
				}
			}
		}))
	}
	return out
}

// each gives the rows of a query.
func each(db *sql.DB, query string, take func(row []any)) error {
	rows, err := db.Query(query)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	for rows.Next() {
		row, to := make([]any, len(columns)), make([]any, len(columns))
		for i := range row {
			to[i] = &row[i]
		}
		if err := rows.Scan(to...); err != nil {
			return err
		}
		take(row)
	}
	return rows.Err()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
