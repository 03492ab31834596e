// Package store is the logbook: one SQLite file with runs, samples, findings
// and the mail that is still to go. A run is in it whole or not at all.
//
// One process writes at a time; others wait, or read beside it. Nothing here
// touches the network, and no secret is ever stored.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Errors that callers branch on.
var (
	// ErrNewer is returned for a logbook that a newer program wrote.
	ErrNewer = errors.New("the logbook was written by a newer boundwalk; update the program, or name another file")
	// ErrNotLogbook is returned for a file that is no SQLite database, or that
	// another program's tables fill.
	ErrNotLogbook = errors.New("not a logbook of boundwalk")
	// ErrNoLogbook is returned when a reader finds no file.
	ErrNoLogbook = errors.New("there is no logbook yet; boundwalk run makes one")
	// ErrBusy is returned when another process held the logbook for too long.
	ErrBusy = errors.New("another process holds the logbook")
	// ErrFull is returned when the disk is full: nothing was stored, and what was there stays.
	ErrFull = errors.New("the disk is full")
	// ErrDamaged is returned where the file is not what was written, such as after a failing disk.
	ErrDamaged = errors.New("the logbook is damaged; put the last backup back, or move the file away to begin a new one")
)

//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks the file as ours (PRAGMA application_id): "bwlk".
const applicationID = 0x62776c6b

// busyTimeout is how long a writer waits for another.
const busyTimeout = 10 * time.Second

// keptWAL is what stays of the -wal file, in bytes, after it had to grow.
const keptWAL = 8 << 20

// pageCache is what SQLite may keep of the file for each connection, in KiB: a
// quarter of its default, for a daemon that waits most of the time. The system
// has the file in its own cache.
const pageCache = 512

// Logbook is an open logbook. It is safe for concurrent use.
type Logbook struct {
	db   *sql.DB
	path string
	run  runLock
}

// Open opens the logbook for writing, makes it where it is missing, and brings
// it up to date.
func Open(ctx context.Context, path string) (*Logbook, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		if err := makeFile(path); err != nil {
			return nil, fmt.Errorf("logbook %s: %w", path, err)
		}
	}
	l, err := open(ctx, path, url.Values{"mode": {"rw"}}, "_pragma", fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()),
		"_pragma", "foreign_keys(1)", "_pragma", "synchronous(full)", "_pragma", fmt.Sprintf("journal_size_limit(%d)", keptWAL),
		"_pragma", fmt.Sprintf("cache_size(-%d)", pageCache), "_txlock", "immediate")
	if err != nil {
		return nil, fmt.Errorf("logbook %s: %w", path, plain(err))
	}
	if err := l.ready(ctx); err != nil {
		l.Close()
		return nil, fmt.Errorf("logbook %s: %w", path, plain(err))
	}
	return l, nil
}

// ready makes the file a logbook of this program's version. What is another's is left as it is.
func (l *Logbook) ready(ctx context.Context) error {
	v, err := identify(ctx, l.db)
	if err != nil {
		return err
	}
	if v > latest() {
		return ErrNewer
	}
	// The file remembers this, so that it holds for each connection.
	if _, err := l.db.ExecContext(ctx, "PRAGMA journal_mode = wal"); err != nil {
		return err
	}
	for n := range latest() {
		if err := l.tx(ctx, func(tx *sql.Tx) error { return step(ctx, tx, n) }); err != nil {
			return err
		}
	}
	return l.check(ctx)
}

// makeFile makes an empty file that others may not read: the logbook knows who is at home.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
	if err != nil {
		return err
	}
	return f.Close()
}

// OpenReader opens the logbook for reading, also where the user may not write
// it, beside a daemon that does or after it has ended.
func OpenReader(ctx context.Context, path string) (*Logbook, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("logbook %s: %w", path, ErrNoLogbook)
	}
	busy := []string{"_pragma", fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds())}
	l, err := open(ctx, path, url.Values{"mode": {"ro"}}, busy...)
	if err == nil {
		if err = l.check(ctx); err == nil {
			return l, nil
		}
		l.Close()
	}
	// A file in WAL mode whose -wal is gone wants to make one, which a reader
	// without rights cannot; then nobody writes, and it may be read as it lies.
	if _, e := os.Stat(path + "-wal"); errors.Is(e, fs.ErrNotExist) {
		l, e := open(ctx, path, url.Values{"mode": {"ro"}, "immutable": {"1"}}, busy...)
		if e == nil {
			if e = l.check(ctx); e == nil {
				return l, nil
			}
			l.Close()
		}
		err = e
	}
	return nil, fmt.Errorf("logbook %s: %w", path, plain(err))
}

func open(ctx context.Context, path string, q url.Values, pairs ...string) (*Logbook, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	for i := 0; i < len(pairs); i += 2 {
		q.Add(pairs[i], pairs[i+1])
	}
	dsn := url.URL{Scheme: "file", OmitHost: true, Path: abs, RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", dsn.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(4)
	if err := db.PingContext(ctx); err != nil {
		db.Close()
		return nil, err
	}
	return &Logbook{db: db, path: path}, nil
}

// Close closes the logbook. A run that was begun and neither saved nor aborted
// becomes aborted when the next begins.
func (l *Logbook) Close() error {
	l.run.release()
	return l.db.Close()
}

// queryRower is a database or a transaction.
type queryRower interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

// identify gives the file's version: 0 for an empty file, ErrNotLogbook for another program's.
func identify(ctx context.Context, q queryRower) (int, error) {
	var id, version, tables int
	if err := q.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return 0, err
	}
	if err := q.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return 0, err
	}
	if err := q.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return 0, err
	}
	if id != applicationID && (id != 0 || version != 0 || tables > 0) {
		return 0, ErrNotLogbook
	}
	return version, nil
}

// check reports whether the file is a logbook that this program can read.
func (l *Logbook) check(ctx context.Context) error {
	version, err := identify(ctx, l.db)
	switch {
	case err != nil:
		return err
	case version > latest():
		return ErrNewer
	case version == 0:
		return ErrNoLogbook
	case version < latest():
		return fmt.Errorf("it is of an older boundwalk; run %q once as its owner to bring it up to date", "boundwalk run")
	}
	return nil
}

func latest() int {
	files, err := migrations.ReadDir("migrations")
	if err != nil {
		panic(err) // embedded at build time
	}
	return len(files)
}

// step is one migration, unless another process has made it meanwhile.
func step(ctx context.Context, tx *sql.Tx, n int) error {
	version, err := identify(ctx, tx)
	if err != nil || version > n {
		return err
	}
	text, err := migrations.ReadFile(fmt.Sprintf("migrations/%04d.sql", n+1))
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, string(text)); err != nil {
		return fmt.Errorf("migration %d: %w", n+1, err)
	}
	_, err = tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d; PRAGMA application_id = %d", n+1, applicationID))
	return err
}

// tx runs f in one transaction that may write. It waits for other writers.
func (l *Logbook) tx(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return plain(err)
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return plain(err)
	}
	return plain(tx.Commit())
}

// plain gives the errors of the database that people can do something about
// our words, and keeps the cause.
func plain(err error) error {
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok {
		return err
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return fmt.Errorf("%w: %w", ErrBusy, err)
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("%w: %w", ErrFull, err)
	case sqlite3.SQLITE_READONLY:
		return fmt.Errorf("this user may not write it: %w", err)
	case sqlite3.SQLITE_CANTOPEN:
		return fmt.Errorf("this user may not open it, or not make files beside it: %w", err)
	case sqlite3.SQLITE_CORRUPT:
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	case sqlite3.SQLITE_NOTADB:
		return fmt.Errorf("%w: %w", ErrNotLogbook, err)
	case sqlite3.SQLITE_IOERR:
		if e.Code() == sqlite3.SQLITE_IOERR_SHMSIZE || strings.Contains(e.Error(), "no space") { // the index of the WAL finds no room to grow
			return fmt.Errorf("%w: %w", ErrFull, err)
		}
	}
	return err
}

// Backup writes a consistent copy to a file that must not exist, beside
// whoever is writing. The file has its name only once it is whole; others may not read it.
func (l *Logbook) Backup(ctx context.Context, path string) error {
	if err := l.backup(ctx, path); err != nil {
		return fmt.Errorf("backup to %s: %w", path, plain(err))
	}
	return nil
}

func (l *Logbook) backup(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return errors.New("the file exists; name a new one")
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*.part")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	if err := f.Close(); err != nil {
		return err
	}
	if _, err := l.db.ExecContext(ctx, "VACUUM INTO ?", f.Name()); err != nil {
		return err
	}
	if err := syncFile(f.Name()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
