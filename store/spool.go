package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Letter is a mail, or a webhook call, that was promised. It stays until it
// is sent, given up or dropped.
type Letter struct {
	ID       int64
	Kind     string // digest, urgent, over, test, webhook
	Key      string // what it is the only one of: a week, or a finding's episode
	Message  string // Message-ID
	Target   string // recipients or URL
	Body     []byte
	Queued   time.Time
	Next     time.Time
	Attempts int
	State    string // queued, sent, failed, dropped
	Ended    time.Time
	Words    string // of the server, or the error
}

const letterColumns = `SELECT id, kind, key, message, target, body, queued, next, attempts, state, ended, words FROM spool `

func scanLetter(scan func(...any) error) (Letter, error) {
	var m Letter
	var queued, next int64
	var ended sql.NullInt64
	err := scan(&m.ID, &m.Kind, &m.Key, &m.Message, &m.Target, &m.Body, &queued, &next, &m.Attempts, &m.State, &ended, &m.Words)
	m.Queued, m.Next = unix(queued), unix(next)
	if ended.Valid {
		m.Ended = unix(ended.Int64)
	}
	return m, err
}

// Enqueue promises a letter, once for each key: a second with the same key
// changes nothing and reports false.
func (l *Logbook) Enqueue(ctx context.Context, m Letter, now time.Time) (bool, error) {
	fresh := false
	err := l.tx(ctx, func(tx *sql.Tx) error {
		var err error
		fresh, err = enqueue(ctx, tx, m, now)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("queue a mail: %w", err)
	}
	return fresh, nil
}

func enqueue(ctx context.Context, tx *sql.Tx, m Letter, now time.Time) (bool, error) {
	r, err := tx.ExecContext(ctx, `INSERT INTO spool (kind, key, message, target, body, queued, next, state) VALUES (?, ?, ?, ?, ?, ?, ?, 'queued')
		ON CONFLICT (key) DO NOTHING`, m.Kind, m.Key, m.Message, m.Target, m.Body, now.Unix(), now.Unix())
	if err != nil {
		return false, err
	}
	n, err := r.RowsAffected()
	return n == 1, err
}

// EnqueueDigest promises the digest of an ISO week, such as 2026-W48, and marks
// the week in the same transaction: once for ever, also after a kill. Several letters go to several kinds of readers.
func (l *Logbook) EnqueueDigest(ctx context.Context, week string, letters []Letter, now time.Time) (bool, error) {
	fresh := false
	err := l.tx(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `INSERT INTO digests (week, queued) VALUES (?, ?) ON CONFLICT DO NOTHING`, week, now.Unix())
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		if err != nil || n == 0 {
			return err
		}
		fresh = true
		for _, m := range letters {
			if _, err := enqueue(ctx, tx, m, now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return false, fmt.Errorf("queue the digest of %s: %w", week, err)
	}
	return fresh, nil
}

// LastDigest is the latest ISO week that has had its digest, and when it was queued; empty: none.
func (l *Logbook) LastDigest(ctx context.Context) (week string, queued time.Time, err error) {
	var at int64
	err = l.db.QueryRowContext(ctx, `SELECT week, queued FROM digests ORDER BY week DESC LIMIT 1`).Scan(&week, &at)
	if errors.Is(err, sql.ErrNoRows) {
		return "", time.Time{}, nil
	}
	if err != nil {
		return "", time.Time{}, fmt.Errorf("last digest: %w", plain(err))
	}
	return week, unix(at), nil
}

// Due lists the letters whose next try has come, oldest first.
func (l *Logbook) Due(ctx context.Context, now time.Time) ([]Letter, error) {
	return l.letters(ctx, `WHERE state = 'queued' AND next <= ? ORDER BY id`, now.Unix())
}

// Waiting lists the letters that are still to go, oldest first.
func (l *Logbook) Waiting(ctx context.Context) ([]Letter, error) {
	return l.letters(ctx, `WHERE state = 'queued' ORDER BY id`)
}

// Letters lists the latest letters of all states, newest first.
func (l *Logbook) Letters(ctx context.Context, most int) ([]Letter, error) {
	return l.letters(ctx, `ORDER BY id DESC LIMIT ?`, most)
}

func (l *Logbook) letters(ctx context.Context, where string, args ...any) ([]Letter, error) {
	var out []Letter
	if err := query(ctx, l.db, letterColumns+where, args, func(scan func(...any) error) error {
		m, err := scanLetter(scan)
		out = append(out, m)
		return err
	}); err != nil {
		return nil, fmt.Errorf("mail spool: %w", plain(err))
	}
	return out, nil
}

// Sent marks a letter that the server took, with its words. The body goes,
// what was said stays.
func (l *Logbook) Sent(ctx context.Context, id int64, words string, at time.Time) error {
	return l.letter(ctx, `UPDATE spool SET state = 'sent', ended = ?2, words = ?3, attempts = attempts + 1, body = x'' WHERE id = ?1 AND state = 'queued'`, id, at.Unix(), words)
}

// Deferred notes a failed try and when the next one is due.
func (l *Logbook) Deferred(ctx context.Context, id int64, words string, next time.Time) error {
	return l.letter(ctx, `UPDATE spool SET next = ?2, words = ?3, attempts = attempts + 1 WHERE id = ?1 AND state = 'queued'`, id, next.Unix(), words)
}

// GivenUp ends a letter that cannot be delivered (failed), or that a newer one
// replaced (dropped).
func (l *Logbook) GivenUp(ctx context.Context, id int64, state, words string, at time.Time) error {
	if state != "failed" && state != "dropped" {
		return fmt.Errorf("mail %d: state %q is neither failed nor dropped", id, state)
	}
	return l.letter(ctx, `UPDATE spool SET state = ?4, ended = ?2, words = ?3, body = x'' WHERE id = ?1 AND state = 'queued'`, id, at.Unix(), words, state)
}

func (l *Logbook) letter(ctx context.Context, q string, args ...any) error {
	if err := l.tx(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, q, args...)
		return err
	}); err != nil {
		return fmt.Errorf("mail spool: %w", err)
	}
	return nil
}

// Hasten makes all that waits due at once, such as when the way to the mail
// server is back.
func (l *Logbook) Hasten(ctx context.Context, now time.Time) error {
	return l.letter(ctx, `UPDATE spool SET next = min(next, ?) WHERE state = 'queued'`, now.Unix())
}

// Told marks that the mail of an episode's opening, or of its end, was promised,
// together with promising it; more are letters to further readers. Where all
// episodes were told before, nothing is promised again.
func (l *Logbook) Told(ctx context.Context, episodes []int64, over bool, m Letter, now time.Time, more ...Letter) error {
	column := "told"
	if over {
		column = "told_over"
	}
	err := l.tx(ctx, func(tx *sql.Tx) error {
		fresh := int64(0)
		for _, id := range episodes {
			r, err := tx.ExecContext(ctx, "UPDATE episodes SET "+column+" = ? WHERE id = ? AND "+column+" IS NULL", now.Unix(), id)
			if err != nil {
				return err
			}
			n, err := r.RowsAffected()
			if err != nil {
				return err
			}
			fresh += n
		}
		if fresh == 0 {
			return nil
		}
		for _, x := range append([]Letter{m}, more...) {
			if _, err := enqueue(ctx, tx, x, now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("queue a mail: %w", err)
	}
	return nil
}
