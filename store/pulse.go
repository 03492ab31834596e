package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"boundwalk/inventory"
)

// PulseSample is what one pulse saw.
type PulseSample struct {
	At       time.Time
	Ports    []PortDraw
	Supplies []SupplyDraw
	Up       map[string]bool // device -> it answered; who was not asked is not in it
}

// PortDraw is a measured draw.
type PortDraw struct {
	Port inventory.PortRef
	Draw inventory.Power
}

// SupplyDraw is a supply's reported draw.
type SupplyDraw struct {
	Supply inventory.SupplyRef
	Draw   inventory.Power
}

// SavePulse keeps the day's highest draws with their minute, and who was up.
// It keeps no sample.
func (l *Logbook) SavePulse(ctx context.Context, plan *inventory.Plan, s PulseSample) error {
	err := l.tx(ctx, func(tx *sql.Tx) error {
		w := &runWriter{ctx: ctx, tx: tx, plan: plan, snap: &inventory.Snapshot{Finished: s.At}, at: s.At.Unix()}
		for _, p := range s.Ports {
			id, err := w.portID(p.Port)
			if err != nil {
				return err
			}
			if err := w.peak(portDay, id, s.At, p.Draw, inventory.Measured); err != nil {
				return err
			}
		}
		for _, p := range s.Supplies {
			id, err := w.supplyID(&inventory.SupplyState{Switch: p.Supply.Switch, Supply: p.Supply.Supply})
			if err != nil {
				return err
			}
			if err := w.peak(supplyDay, id, s.At, p.Draw, inventory.Measured); err != nil {
				return err
			}
		}
		for device, up := range s.Up {
			if err := w.exec(`INSERT INTO pulses (device, at, up, since) VALUES (?1, ?2, ?3, ?2)
				ON CONFLICT (device) DO UPDATE SET since = iif(up = ?3, since, ?2), at = ?2, up = ?3`, device, w.at, up); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("save a pulse: %w", err)
	}
	return nil
}

// Outage opens an outage of the kind at a time, where none lasts.
func (l *Logbook) Outage(ctx context.Context, what string, at time.Time) error {
	err := l.tx(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO outages (what, since) SELECT ?1, ?2
			WHERE NOT EXISTS (SELECT 1 FROM outages WHERE what = ?1 AND until IS NULL)`, what, at.Unix())
		return err
	})
	if err != nil {
		return fmt.Errorf("note an outage: %w", err)
	}
	return nil
}

// OutageOver ends the outage of the kind that lasts, and returns it; false where none did.
func (l *Logbook) OutageOver(ctx context.Context, what string, at time.Time) (inventory.Outage, bool, error) {
	var o inventory.Outage
	err := l.tx(ctx, func(tx *sql.Tx) error {
		var err error
		o, err = scanOutage(tx.QueryRowContext(ctx, `UPDATE outages SET until = max(since, ?) WHERE what = ? AND until IS NULL
			RETURNING what, since, until`, at.Unix(), what).Scan)
		return err
	})
	if errors.Is(err, sql.ErrNoRows) {
		return o, false, nil
	}
	if err != nil {
		return o, false, fmt.Errorf("end an outage: %w", err)
	}
	return o, true, nil
}
