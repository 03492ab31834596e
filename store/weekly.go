package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"boundwalk/inventory"
)

// DigestWeeks lists the ISO weeks whose digest was queued since then, oldest first.
func (l *Logbook) DigestWeeks(ctx context.Context, since time.Time) ([]string, error) {
	var out []string
	if err := query(ctx, l.db, `SELECT week FROM digests WHERE queued >= ? ORDER BY week`, []any{since.Unix()}, func(scan func(...any) error) error {
		var week string
		err := scan(&week)
		out = append(out, week)
		return err
	}); err != nil {
		return nil, fmt.Errorf("digests: %w", plain(err))
	}
	return out, nil
}

// CountRuns counts the runs begun since then that came to their end, and those
// that did not.
func (l *Logbook) CountRuns(ctx context.Context, since time.Time) (complete, stopped int, err error) {
	const q = `SELECT count(*) FILTER (WHERE state = 'complete'), count(*) FILTER (WHERE state = 'aborted') FROM runs WHERE started >= ?`
	if err := l.db.QueryRowContext(ctx, q, since.Unix()).Scan(&complete, &stopped); err != nil {
		return 0, 0, fmt.Errorf("count runs: %w", plain(err))
	}
	return complete, stopped, nil
}

// Traffic is what went through a port since then, by the counters of the runs:
// the mean over all readings that follow on one another, and the busiest
// stretch between two. False where there are no two. A counter that began anew
// or wrapped between two readings tells nothing of that stretch.
func (l *Logbook) Traffic(ctx context.Context, ref inventory.PortRef, since time.Time) (inventory.Rates, bool, error) {
	const q = `SELECT s.at, s.octets_in, s.octets_out, s.speed FROM port_samples s JOIN ports p ON p.id = s.port
		WHERE p.switch = ? AND p.port = ? AND s.at >= ? ORDER BY s.at`
	var r inventory.Rates
	var last reading
	var octets [2]float64
	var seconds float64
	err := query(ctx, l.db, q, []any{ref.Device, ref.Port, since.Unix()}, func(scan func(...any) error) error {
		var in, out, speed sql.NullInt64
		now := reading{}
		if err := scan(&now.at, &in, &out, &speed); err != nil {
			return err
		}
		now.in, now.out, now.known = uint64(in.Int64), uint64(out.Int64), in.Valid && out.Valid
		if i, o, ok := now.rates(last, inventory.BitRate(speed.Int64)); ok {
			span := float64(now.at - last.at)
			octets[0] += float64(now.in - last.in)
			octets[1] += float64(now.out - last.out)
			seconds += span
			if i+o > r.InPeak+r.OutPeak {
				r.InPeak, r.OutPeak = i, o
			}
			if r.From.IsZero() {
				r.From = unix(last.at)
			}
			r.To = unix(now.at)
		}
		last = now
		return nil
	})
	if err != nil {
		return r, false, fmt.Errorf("traffic of %s: %w", ref, plain(err))
	}
	if seconds == 0 {
		return r, false, nil
	}
	r.In, r.Out = inventory.BitRate(8*octets[0]/seconds), inventory.BitRate(8*octets[1]/seconds)
	return r, true, nil
}

// reading is a port's octet counters at a time.
type reading struct {
	at      int64
	in, out uint64
	known   bool
}

// rates are the means between two readings; false where a counter did not go on.
func (r reading) rates(last reading, speed inventory.BitRate) (in, out inventory.BitRate, ok bool) {
	if !r.known || !last.known || r.at <= last.at || r.in < last.in || r.out < last.out {
		return 0, 0, false
	}
	span := float64(r.at - last.at)
	i, o := 8*float64(r.in-last.in)/span, 8*float64(r.out-last.out)/span
	const beyond = 1.05 // of the link's speed: a counter that jumped
	if speed > 0 && max(i, o) > beyond*float64(speed) || max(i, o) > 1e15 {
		return 0, 0, false
	}
	return inventory.BitRate(i), inventory.BitRate(o), true
}
