package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// keptSnapshots is how many complete runs keep their whole snapshot.
const keptSnapshots = 3

// maxSnapshot bounds what is unpacked of a file that may be damaged.
const maxSnapshot = 256 << 20

// Begin notes that a run has started and returns its number. Where another
// process is at a run of this logbook it waits for its end. Runs that a killed
// process left open are marked aborted.
func (l *Logbook) Begin(ctx context.Context, asked string, at time.Time) (int64, error) {
	var id int64
	if err := l.run.take(ctx, l.path+".run"); err != nil {
		return 0, fmt.Errorf("begin a run: %w", err)
	}
	err := l.tx(ctx, func(tx *sql.Tx) error {
		const abort = `UPDATE runs SET state = 'aborted', why = 'the program ended before the run did' WHERE state = 'running'`
		if _, err := tx.ExecContext(ctx, abort); err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO runs (started, state, asked) VALUES (?, 'running', ?)`, at.Unix(), asked)
		if err != nil {
			return err
		}
		id, err = r.LastInsertId()
		return err
	})
	if err != nil {
		l.run.release()
		return 0, fmt.Errorf("begin a run: %w", err)
	}
	return id, nil
}

// Abort marks a run that did not come to its end; it is never compared.
func (l *Logbook) Abort(ctx context.Context, id int64, at time.Time, why string) error {
	defer l.run.release()
	const q = `UPDATE runs SET state = 'aborted', finished = ?, why = ? WHERE id = ? AND state = 'running'`
	if err := l.tx(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, q, at.Unix(), why, id)
		return err
	}); err != nil {
		return fmt.Errorf("abort run %d: %w", id, err)
	}
	return nil
}

// Save stores a complete run in one transaction: coverage, devices, places,
// samples, and the findings' episodes. The findings come back with Since filled from
// their episodes, beside what opened and what cleared. Hushed findings stay in
// the episodes and are left out of opened and cleared. Settling runs judge no absence.
// What facts there are is kept in the same transaction.
func (l *Logbook) Save(ctx context.Context, id int64, plan *inventory.Plan, snap *inventory.Snapshot, findings []diff.Finding, settling bool,
	facts ...Fact) (Outcome, error) {
	if snap.Aborted {
		return Outcome{}, fmt.Errorf("save run %d: an aborted run is not stored", id)
	}
	var out Outcome
	err := l.tx(ctx, func(tx *sql.Tx) error {
		w := &runWriter{ctx: ctx, tx: tx, id: id, plan: plan, snap: snap, at: snap.Finished.Unix(), settling: settling}
		for _, part := range []func() error{w.run, w.coverage, w.devices, w.addresses, w.places, w.ports, w.supplies, w.devicesFigures, w.private, w.agents} {
			if err := part(); err != nil {
				return err
			}
		}
		for _, f := range facts {
			if err := setFact(ctx, tx, f); err != nil {
				return err
			}
		}
		var err error
		out, err = w.episodes(findings)
		return err
	})
	if err != nil {
		return Outcome{}, fmt.Errorf("save run %d: %w", id, err)
	}
	l.run.release()
	return out, nil
}

// Outcome is what a run changed.
type Outcome struct {
	Findings []diff.Finding    // all, with Since
	Hushed   map[string]string // key -> why, of those that are hushed
	Opened   []diff.Finding
	Cleared  []diff.Finding // without what is now told as part of another finding
}

// runWriter writes one run within its transaction.
type runWriter struct {
	ctx      context.Context
	tx       *sql.Tx
	id       int64
	plan     *inventory.Plan
	snap     *inventory.Snapshot
	at       int64
	settling bool
	portIDs  map[inventory.PortRef]int64
	made     map[string]*sql.Stmt // the transaction closes them
}

// prepared is the statement of a text, which most parts of a run use for each device or port.
func (w *runWriter) prepared(q string) (*sql.Stmt, error) {
	if st, ok := w.made[q]; ok {
		return st, nil
	}
	st, err := w.tx.PrepareContext(w.ctx, q)
	if err != nil {
		return nil, err
	}
	if w.made == nil {
		w.made = map[string]*sql.Stmt{}
	}
	w.made[q] = st
	return st, nil
}

func (w *runWriter) exec(q string, args ...any) error {
	st, err := w.prepared(q)
	if err != nil {
		return err
	}
	_, err = st.ExecContext(w.ctx, args...)
	return err
}

func (w *runWriter) run() error {
	body, err := pack(w.snap)
	if err != nil {
		return err
	}
	const q = `UPDATE runs SET finished = ?, state = 'complete', settling = ?, devices = ?, unknown = ?, ports = ? WHERE id = ? AND state = 'running'`
	r, err := w.tx.ExecContext(w.ctx, q, w.at, w.settling, len(w.snap.Devices), w.snap.Headcount().Unknown, len(w.snap.Ports), w.id)
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err != nil || n != 1 {
		return errors.Join(err, fmt.Errorf("run %d is not open", w.id))
	}
	if err := w.exec(`INSERT INTO snapshots (run, body) VALUES (?, ?)`, w.id, body); err != nil {
		return err
	}
	return w.exec(`DELETE FROM snapshots WHERE run NOT IN (SELECT run FROM snapshots ORDER BY run DESC LIMIT ?)`, keptSnapshots)
}

func pack(v any) ([]byte, error) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if err := json.NewEncoder(z).Encode(v); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func unpack(b []byte, v any) error {
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		return err
	}
	return json.NewDecoder(io.LimitReader(z, maxSnapshot)).Decode(v)
}

func (w *runWriter) devices() error {
	const q = `INSERT INTO devices (name, planned, role, hostname, maker, product, serial, firmware, first, last, absent_since, absent_runs)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)
		ON CONFLICT (name) DO UPDATE SET planned = ?2, role = ?3,
			hostname = coalesce(nullif(?4, ''), hostname), maker = coalesce(nullif(?5, ''), maker),
			product = coalesce(nullif(?6, ''), product), serial = coalesce(nullif(?7, ''), serial), firmware = coalesce(nullif(?8, ''), firmware),
			last = max(last, ?10),
			absent_since = CASE ?13 WHEN 'present' THEN NULL WHEN 'absent' THEN coalesce(absent_since, ?11) ELSE absent_since END,
			absent_runs = CASE ?13 WHEN 'present' THEN 0 WHEN 'absent' THEN absent_runs + 1 ELSE absent_runs END`
	for _, d := range w.snap.Devices {
		presence, last, since, runs := string(d.Presence), int64(0), any(nil), 0
		switch {
		case d.Presence == inventory.Present:
			last = w.at
		case d.Presence == inventory.Absent && w.settling:
			presence = string(inventory.NotLooked)
		case d.Presence == inventory.Absent:
			since, runs = w.at, 1
		}
		if err := w.exec(q, d.Name, d.Planned, string(d.Role), d.Hostname, d.Maker, d.Product, d.Serial, d.Firmware,
			w.at, last, since, runs, presence); err != nil {
			return err
		}
	}
	return nil
}

func (w *runWriter) addresses() error {
	const q = `INSERT INTO addresses (mac, addr, device, first, last) VALUES (?1, ?2, ?3, ?4, ?4)
		ON CONFLICT (addr, mac) DO UPDATE SET device = ?3, last = ?4`
	const claim = `INSERT INTO claims (addr, at, mac) SELECT ?1, ?2, ?3
		WHERE ?3 IS NOT (SELECT mac FROM claims WHERE addr = ?1 ORDER BY at DESC LIMIT 1) ON CONFLICT DO NOTHING`
	for _, d := range w.snap.Devices {
		if d.Presence != inventory.Present {
			continue
		}
		for _, m := range d.MACs {
			for _, ip := range d.Addrs {
				if err := w.exec(q, m.String(), ip.String(), d.Name, w.at); err != nil {
					return err
				}
				if len(d.MACs) > 1 || !d.Planned && len(d.Addrs) > 1 {
					continue
				}
				if err := w.exec(claim, ip.String(), w.at, m.String()); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func (w *runWriter) places() error {
	const q = `INSERT INTO places (mac, switch, port, basis, first, last) VALUES (?1, ?2, ?3, ?4, ?5, ?5)
		ON CONFLICT (mac, switch, port) DO UPDATE SET basis = ?4, last = ?5`
	for _, d := range w.snap.Devices {
		if d.Place.IsZero() || d.Place.Basis == inventory.Remembered || d.Place.Basis == inventory.Inferred {
			continue
		}
		for _, m := range d.MACs {
			if err := w.exec(q, m.String(), d.Place.Switch, d.Place.Port, string(d.Place.Basis), w.at); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *runWriter) devicesFigures() error {
	for _, d := range w.snap.Devices {
		u := d.UpTime
		if u == nil || !d.Planned {
			continue
		}
		if err := w.exec(`INSERT INTO uptimes (device, at, ticks, boots, engine, host) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
			d.Name, u.Read.Unix(), u.Ticks, u.Boots, u.Engine, u.Host); err != nil {
			return err
		}
	}
	for _, r := range w.snap.Radios {
		if r.Level == nil {
			continue
		}
		if err := w.exec(`INSERT INTO levels (device, at, dbm) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, r.Device, w.at, *r.Level); err != nil {
			return err
		}
	}
	return nil
}

func (w *runWriter) private() error {
	day := midnight(w.snap.Finished, w.plan.Site.Location).Unix()
	for _, n := range w.snap.Networks {
		if err := w.exec(`INSERT INTO private_counts (network, day, most) VALUES (?1, ?2, ?3)
			ON CONFLICT (network, day) DO UPDATE SET most = max(most, ?3)`, n.Name, day, n.Private+n.Counted); err != nil {
			return err
		}
	}
	return nil
}

func (w *runWriter) agents() error {
	for _, a := range w.snap.Agents {
		if a.Reduced == 0 {
			continue
		}
		if err := w.exec(`INSERT INTO agents (device, repetitions) VALUES (?1, ?2)
			ON CONFLICT (device) DO UPDATE SET repetitions = ?2`, a.Device, a.Reduced); err != nil {
			return err
		}
	}
	return nil
}

// midnight is the start of t's day in loc, which on the day of a clock change
// need not be 00:00.
func midnight(t time.Time, loc *time.Location) time.Time {
	if loc == nil {
		loc = time.UTC
	}
	y, m, d := t.In(loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc)
}
