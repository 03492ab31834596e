package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// How long what is kept: raw samples for 35 days, hours for a year, days for
// ever; runs, and what no plan names, as long as the hours; coverage as long as
// the raw samples.
const (
	keepRaw   = 35 * 24 * time.Hour
	keepHours = 366 * 24 * time.Hour
)

// Thin makes hours of old samples and drops what is past its time. It is quick
// where it ran lately, and safe at any moment.
func (l *Logbook) Thin(ctx context.Context, now time.Time) error {
	raw, hours := now.Add(-keepRaw).Unix(), now.Add(-keepHours).Unix()
	raw -= raw % 3600 // whole hours only, so that none is summed in two halves
	// SQLite takes the bare columns from the row that has the one maximum.
	steps := []struct {
		q    string
		args []any
	}{
		{`INSERT INTO port_hours (port, hour, peak, peak_at, mean, samples, basis)
			SELECT port, at / 3600 * 3600, max(draw), at, CAST(avg(draw) AS INTEGER), count(*), basis FROM port_samples
			WHERE at < ? AND draw IS NOT NULL GROUP BY port, at / 3600 ON CONFLICT DO NOTHING`, []any{raw}},
		{`INSERT INTO supply_hours (supply, hour, peak, peak_at, mean, samples, basis)
			SELECT supply, at / 3600 * 3600, max(used), at, CAST(avg(used) AS INTEGER), count(*), basis FROM supply_samples
			WHERE at < ? AND used IS NOT NULL GROUP BY supply, at / 3600 ON CONFLICT DO NOTHING`, []any{raw}},
		{`DELETE FROM port_samples WHERE at < ?`, []any{raw}},
		{`DELETE FROM supply_samples WHERE at < ?`, []any{raw}},
		{`DELETE FROM port_hours WHERE hour < ?`, []any{hours}},
		{`DELETE FROM supply_hours WHERE hour < ?`, []any{hours}},
		{`DELETE FROM uptimes WHERE at < ?`, []any{raw}},
		{`DELETE FROM levels WHERE at < ?`, []any{hours}},
		{`DELETE FROM coverage WHERE until <= (SELECT max(id) FROM runs WHERE finished < ?)`, []any{raw}},
		{`DELETE FROM runs WHERE coalesce(finished, started) < ? AND state <> 'running' AND id NOT IN (SELECT run FROM snapshots)`, []any{hours}},
		{`DELETE FROM claims WHERE at < ? AND EXISTS (SELECT 1 FROM claims n WHERE n.addr = claims.addr AND n.at > claims.at)`, []any{hours}},
		{`DELETE FROM addresses WHERE last < ?`, []any{hours}},
		{`DELETE FROM places WHERE last < ?`, []any{hours}},
		{`DELETE FROM devices WHERE NOT planned AND last < ?1 AND first < ?1`, []any{hours}},
		{`DELETE FROM spool WHERE state <> 'queued' AND ended < ?`, []any{hours}},
		{`DELETE FROM hushes WHERE until < ?`, []any{raw}},
	}
	err := l.tx(ctx, func(tx *sql.Tx) error {
		for _, s := range steps {
			if _, err := tx.ExecContext(ctx, s.q, s.args...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("thin the logbook: %w", err)
	}
	return nil
}
