package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"boundwalk/diff"
)

// HushAll is the key that quiets everything.
const HushAll = "*"

// Hush is a finding's silence until a time.
type Hush struct {
	Key   string // of a finding, or HushAll
	Since time.Time
	Until time.Time
	Why   string
}

// Hush quiets a finding, or everything, until a time.
func (l *Logbook) Hush(ctx context.Context, h Hush) error {
	err := l.tx(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO hushes (key, since, until, why) VALUES (?1, ?2, ?3, ?4)
			ON CONFLICT (key) DO UPDATE SET since = ?2, until = ?3, why = ?4`, h.Key, h.Since.Unix(), h.Until.Unix(), h.Why)
		return err
	})
	if err != nil {
		return fmt.Errorf("hush %s: %w", h.Key, err)
	}
	return nil
}

// Hushes lists what is quiet at now, by key.
func (l *Logbook) Hushes(ctx context.Context, now time.Time) ([]Hush, error) {
	h, err := hushes(ctx, l.db, now)
	if err != nil {
		return nil, fmt.Errorf("hushes: %w", plain(err))
	}
	return h, nil
}

type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

// query scans each row with scan, which gets the row's Scan.
func query(ctx context.Context, q querier, text string, args []any, scan func(func(...any) error) error) error {
	rows, err := q.QueryContext(ctx, text, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

func hushes(ctx context.Context, q querier, now time.Time) ([]Hush, error) {
	var out []Hush
	err := query(ctx, q, `SELECT key, since, until, why FROM hushes WHERE until > ? ORDER BY key`, []any{now.Unix()}, func(scan func(...any) error) error {
		var h Hush
		var since, until int64
		if err := scan(&h.Key, &since, &until, &h.Why); err != nil {
			return err
		}
		h.Since, h.Until = unix(since), unix(until)
		out = append(out, h)
		return nil
	})
	return out, err
}

func unix(s int64) time.Time { return time.Unix(s, 0).UTC() }

// episodes opens, keeps up and clears the findings' episodes.
func (w *runWriter) episodes(findings []diff.Finding) (Outcome, error) {
	out := Outcome{Hushed: map[string]string{}}
	list, err := hushes(w.ctx, w.tx, w.snap.Finished)
	if err != nil {
		return out, err
	}
	quiet := quietness{}
	for _, h := range list {
		quiet[h.Key] = h.Why
	}
	open, err := openEpisodes(w.ctx, w.tx)
	if err != nil {
		return out, err
	}
	told := map[string]bool{}
	for _, f := range findings {
		if told[f.Key] {
			continue // once is enough, and no reason to lose the run
		}
		told[f.Key] = true
		e, was := open[f.Key]
		delete(open, f.Key)
		f.Since = w.snap.Finished.UTC().Truncate(time.Second)
		if was {
			f.Since = e.Opened
		}
		if err := w.keepEpisode(f, e, was); err != nil {
			return out, err
		}
		out.Findings = append(out.Findings, f)
		if why, hushed := quiet.of(f.Key); hushed {
			out.Hushed[f.Key] = why
		} else if !was {
			out.Opened = append(out.Opened, f)
		}
	}
	if out.Cleared, err = w.clear(open, quiet, findings); err != nil {
		return out, err
	}
	return out, w.exec(`UPDATE runs SET findings = ? WHERE id = ?`, len(out.Findings), w.id)
}

// quietness is key -> why of what is hushed.
type quietness map[string]string

func (q quietness) of(key string) (why string, hushed bool) {
	if why, hushed = q[key]; hushed {
		return why, true
	}
	why, hushed = q[HushAll]
	return why, hushed
}

// clear ends the episodes that this run does not bear out, and returns those to
// tell of. What is now told as part of another finding is not mended.
func (w *runWriter) clear(open map[string]Episode, quiet quietness, now []diff.Finding) ([]diff.Finding, error) {
	folded := map[string]bool{}
	for _, f := range now {
		for _, b := range f.Behind {
			folded[b] = true
		}
	}
	var out []diff.Finding
	for key, e := range open {
		unknown, err := w.stillUnknown(e.Finding)
		if err != nil {
			return nil, err
		}
		if unknown {
			continue
		}
		if err := w.exec(`UPDATE episodes SET cleared = ? WHERE id = ?`, w.at, e.ID); err != nil {
			return nil, err
		}
		if _, hushed := quiet.of(key); !hushed && !folded[e.Finding.Subject] {
			out = append(out, e.Finding)
		}
	}
	diff.Sort(out)
	return out, nil
}

func (w *runWriter) keepEpisode(f diff.Finding, e Episode, was bool) error {
	body, err := json.Marshal(f)
	if err != nil {
		return err
	}
	if was {
		return w.exec(`UPDATE episodes SET seen = ?, severity = ?, finding = ? WHERE id = ?`, w.at, string(f.Severity), string(body), e.ID)
	}
	return w.exec(`INSERT INTO episodes (key, kind, severity, opened, seen, finding) VALUES (?, ?, ?, ?, ?, ?)`,
		f.Key, string(f.Kind), string(f.Severity), w.at, w.at, string(body))
}

// Episode is a finding's span.
type Episode struct {
	ID      int64
	Opened  time.Time
	Seen    time.Time
	Cleared time.Time // zero: open
	Told    time.Time // when the mail of its opening was queued; zero: not
	Over    time.Time // and that of its end
	Finding diff.Finding
}

const episodeColumns = `SELECT id, opened, seen, cleared, told, told_over, finding FROM episodes `

func scanEpisode(scan func(...any) error) (Episode, error) {
	var e Episode
	var opened, seen int64
	var cleared, told, over sql.NullInt64
	var body string
	if err := scan(&e.ID, &opened, &seen, &cleared, &told, &over, &body); err != nil {
		return e, err
	}
	if err := json.Unmarshal([]byte(body), &e.Finding); err != nil {
		return e, fmt.Errorf("episode %d: %w", e.ID, err)
	}
	e.Opened, e.Seen = unix(opened), unix(seen)
	e.Finding.Since = e.Opened
	for _, t := range []struct {
		from sql.NullInt64
		to   *time.Time
	}{{cleared, &e.Cleared}, {told, &e.Told}, {over, &e.Over}} {
		if t.from.Valid {
			*t.to = unix(t.from.Int64)
		}
	}
	return e, nil
}

func openEpisodes(ctx context.Context, q querier) (map[string]Episode, error) {
	out := map[string]Episode{}
	err := query(ctx, q, episodeColumns+`WHERE cleared IS NULL`, nil, func(scan func(...any) error) error {
		e, err := scanEpisode(scan)
		out[e.Finding.Key] = e
		return err
	})
	return out, err
}

// Episodes lists the findings that were open at any time since then, oldest
// first; a zero time means the open ones alone.
func (l *Logbook) Episodes(ctx context.Context, since time.Time) ([]Episode, error) {
	where, args := `WHERE cleared IS NULL ORDER BY opened, key`, []any(nil)
	if !since.IsZero() {
		where, args = `WHERE cleared IS NULL OR cleared >= ? ORDER BY opened, key`, []any{since.Unix()}
	}
	var out []Episode
	if err := query(ctx, l.db, episodeColumns+where, args, func(scan func(...any) error) error {
		e, err := scanEpisode(scan)
		out = append(out, e)
		return err
	}); err != nil {
		return nil, fmt.Errorf("findings: %w", plain(err))
	}
	return out, nil
}

// ErrNoFinding is returned for a key that no open finding has.
var ErrNoFinding = errors.New("no open finding has this key")

// OpenFinding finds an open finding by its key.
func (l *Logbook) OpenFinding(ctx context.Context, key string) (diff.Finding, error) {
	e, err := scanEpisode(l.db.QueryRowContext(ctx, episodeColumns+`WHERE cleared IS NULL AND key = ?`, key).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return diff.Finding{}, fmt.Errorf("%s: %w", key, ErrNoFinding)
	}
	if err != nil {
		return diff.Finding{}, fmt.Errorf("finding %s: %w", key, plain(err))
	}
	return e.Finding, nil
}
