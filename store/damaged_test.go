package store_test

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"boundwalk/store"
)

// A file that a failing disk has spoilt is said to be damaged, by whatever
// first meets the bad place; nothing panics, and no run is stored into it as if
// all were well.
func TestDamagedFile(t *testing.T) {
	const page = 4096
	for name, spoil := range map[string]func([]byte) []byte{
		"cut in half":       func(b []byte) []byte { return b[:len(b)/2/page*page] },
		"cut within a page": func(b []byte) []byte { return b[:len(b)/3+100] },
		"zeros but for the first page": func(b []byte) []byte {
			clear(b[page:])
			return b
		},
		"noise but for the first page": func(b []byte) []byte {
			chance := rand.New(rand.NewPCG(4, 2))
			for k := page; k < len(b); k++ {
				b[k] = byte(chance.Uint32())
			}
			return b
		},
		"noise in the list of tables": func(b []byte) []byte {
			for k := 100; k < page; k++ {
				b[k] ^= 0x5a
			}
			return b
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "logbook.db")
			l := openAt(t, path)
			for k := range 20 {
				save(t, l, quay(), look(noon.Add(time.Duration(k)*time.Minute)))
			}
			l.Close()
			whole, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, spoil(whole), 0o640); err != nil {
				t.Fatal(err)
			}
			for who, open := range map[string]func() (*store.Logbook, error){
				"reader": func() (*store.Logbook, error) { return store.OpenReader(t.Context(), path) },
				"writer": func() (*store.Logbook, error) { return store.Open(t.Context(), path) },
			} {
				l, err := open()
				if err == nil {
					_, err = l.History(t.Context(), noon, time.UTC)
					if _, e := l.Runs(t.Context(), 50); err == nil {
						err = e
					}
					if _, e := trySave(l, quay(), look(noon.AddDate(0, 0, 1)), false); e == nil {
						t.Errorf("%s: a run was stored", who)
					}
					l.Close()
				}
				if !errors.Is(err, store.ErrDamaged) {
					t.Errorf("%s: it says %v, want ErrDamaged", who, err)
				}
			}
		})
	}
}
