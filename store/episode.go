package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
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
	quiet, err := hushes(w.ctx, w.tx, w.snap.Finished)
	if err != nil {
		return out, err
	}
	why := map[string]string{}
	for _, h := range quiet {
		why[h.Key] = h.Why
	}
	open, err := openEpisodes(w.ctx, w.tx)
	if err != nil {
		return out, err
	}
	for i := range findings {
		f := findings[i]
		e, was := open[f.Key]
		f.Since = w.snap.Finished.UTC().Truncate(time.Second)
		if was {
			f.Since = e.Opened
		}
		if err := w.keepEpisode(f, e, was); err != nil {
			return out, err
		}
		delete(open, f.Key)
		out.Findings = append(out.Findings, f)
		reason, hushed := why[f.Key]
		if all, ok := why[HushAll]; ok && !hushed {
			reason, hushed = all, true
		}
		switch {
		case hushed:
			out.Hushed[f.Key] = reason
		case !was:
			out.Opened = append(out.Opened, f)
		}
	}
	for key, e := range open {
		if w.stillUnknown(e.Finding) {
			continue
		}
		if err := w.exec(`UPDATE episodes SET cleared = ? WHERE id = ?`, w.at, e.ID); err != nil {
			return out, err
		}
		if _, hushed := why[key]; !hushed {
			out.Cleared = append(out.Cleared, e.Finding)
		}
	}
	diff.Sort(out.Cleared)
	return out, w.exec(`UPDATE runs SET findings = ? WHERE id = ?`, len(findings), w.id)
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

// stillUnknown keeps a finding open whose subject this run could not look at:
// not looked is not mended. A settling run mends nothing that is missing.
func (w *runWriter) stillUnknown(f diff.Finding) bool {
	if w.settling && f.Kind == diff.MissingDevice {
		return true
	}
	device, _, _ := strings.Cut(f.Subject, "/")
	if d, ok := w.snap.Device(device); ok && d.Planned && d.Presence == "not-looked" {
		return true
	}
	if a, ok := w.snap.Agent(strings.Fields(device + " ")[0]); ok && f.Kind != diff.CouldNotLook {
		switch a.Result {
		case "no-answer", "refused", "partial":
			return aboutAgent(f.Kind)
		}
	}
	return false
}

// aboutAgent reports whether findings of the kind are read off a switch's own
// tables, so that its silence says nothing of them.
func aboutAgent(k diff.Kind) bool {
	switch k {
	case diff.MissingDevice, diff.CouldNotLook, diff.ReplacedDevice, diff.AddressConflict, diff.UnknownDevice:
		return false
	}
	return true
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
