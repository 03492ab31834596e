package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"boundwalk/inventory"
)

// How far back History reaches.
const (
	historyRuns  = 50
	historyPeaks = 100 * 24 * time.Hour
	historySpeed = 35 * 24 * time.Hour
	lastUptimes  = 5
	lastClaims   = 10
)

// Snapshot is the last complete run's, beside its number; nil where there is none.
func (l *Logbook) Snapshot(ctx context.Context) (*inventory.Snapshot, int64, error) {
	return snapshot(ctx, l.db)
}

func snapshot(ctx context.Context, q queryRower) (*inventory.Snapshot, int64, error) {
	var body []byte
	var id int64
	err := q.QueryRowContext(ctx, `SELECT run, body FROM snapshots ORDER BY run DESC LIMIT 1`).Scan(&id, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, 0, nil
	}
	var s inventory.Snapshot
	if err == nil {
		err = unpack(body, &s)
	}
	if err != nil {
		return nil, 0, fmt.Errorf("snapshot of the last run: %w", plain(err))
	}
	return &s, id, nil
}

// History gathers what Assemble and Audit want to know of the past, in one
// reading transaction. The zone decides where a day begins.
func (l *Logbook) History(ctx context.Context, now time.Time, loc *time.Location) (*inventory.History, error) {
	tx, err := l.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, fmt.Errorf("history: %w", plain(err))
	}
	defer tx.Rollback()
	r := &historyReader{ctx: ctx, tx: tx, now: now, loc: loc, h: &inventory.History{}}
	if r.h.Previous, _, err = snapshot(ctx, tx); err != nil {
		return nil, err
	}
	for _, part := range []func() error{r.runs, r.devices, r.places, r.claims, r.peaks, r.uptimes, r.levels, r.counters, r.speeds, r.open, r.pulses,
		r.logins, r.private, r.outages} {
		if err := part(); err != nil {
			return nil, fmt.Errorf("history: %w", plain(err))
		}
	}
	return r.h, nil
}

type historyReader struct {
	ctx context.Context
	tx  *sql.Tx
	now time.Time
	loc *time.Location
	h   *inventory.History
}

func (r *historyReader) each(q string, args []any, scan func(func(...any) error) error) error {
	return query(r.ctx, r.tx, q, args, scan)
}

func (r *historyReader) runs() error {
	const q = `SELECT id, finished, settling FROM runs WHERE state = 'complete' ORDER BY id DESC LIMIT ?`
	return r.each(q, []any{historyRuns}, func(scan func(...any) error) error {
		var m inventory.RunMark
		var at int64
		if err := scan(&m.ID, &at, &m.Settling); err != nil {
			return err
		}
		m.At = unix(at)
		r.h.Runs = append(r.h.Runs, m)
		return nil
	})
}

func (r *historyReader) devices() error {
	h := r.h
	h.First, h.Last, h.Absences, h.Firmware, h.Names = map[string]time.Time{}, map[string]time.Time{}, map[string]inventory.Absence{},
		map[string]string{}, map[inventory.MAC]string{}
	const q = `SELECT name, firmware, first, last, absent_since, absent_runs FROM devices`
	return r.each(q, nil, func(scan func(...any) error) error {
		var name, firmware string
		var first, last int64
		var since sql.NullInt64
		var runs int
		if err := scan(&name, &firmware, &first, &last, &since, &runs); err != nil {
			return err
		}
		h.First[name] = unix(first)
		if last > 0 {
			h.Last[name] = unix(last)
		}
		if firmware != "" {
			h.Firmware[name] = firmware
		}
		if since.Valid {
			h.Absences[name] = inventory.Absence{Since: unix(since.Int64), Runs: runs}
		}
		return nil
	})
}

func (r *historyReader) places() error {
	r.h.Places = map[inventory.MAC]inventory.Place{}
	const q = `SELECT mac, switch, port, basis, last FROM places ORDER BY last`
	return r.each(q, nil, func(scan func(...any) error) error {
		var mac, basis string
		var p inventory.Place
		var last int64
		if err := scan(&mac, &p.Switch, &p.Port, &basis, &last); err != nil {
			return err
		}
		m, err := inventory.ParseMAC(mac)
		p.Basis, p.Seen = inventory.Basis(basis), unix(last)
		r.h.Places[m] = p
		return err
	})
}

func (r *historyReader) claims() error {
	r.h.Flips = map[string][]inventory.Claim{}
	const q = `SELECT addr, at, mac FROM claims ORDER BY addr, at DESC`
	return r.each(q, nil, func(scan func(...any) error) error {
		var addr, mac string
		var at int64
		if err := scan(&addr, &at, &mac); err != nil {
			return err
		}
		m, err := inventory.ParseMAC(mac)
		if err == nil && len(r.h.Flips[addr]) < lastClaims {
			r.h.Flips[addr] = append(r.h.Flips[addr], inventory.Claim{At: unix(at), MAC: m})
		}
		return err
	})
}

func (r *historyReader) peaks() error {
	since := r.now.Add(-historyPeaks).Unix()
	r.h.Peaks, r.h.Supplies = map[inventory.PortRef][]inventory.Peak{}, map[inventory.SupplyRef][]inventory.Peak{}
	scanPeak := func(scan func(...any) error, a, b *string) (inventory.Peak, error) {
		var p inventory.Peak
		var day, at, draw, night int64
		var basis string
		err := scan(a, b, &day, &at, &draw, &night, &basis)
		p = inventory.Peak{Day: unix(day).In(r.zone()), At: unix(at), Draw: inventory.Power(draw), Night: night > 0, Basis: inventory.Basis(basis)}
		return p, err
	}
	err := r.each(`SELECT p.switch, p.port, d.day, d.peak_at, d.peak, d.night, d.basis FROM port_days d JOIN ports p ON p.id = d.port
		WHERE d.day >= ? ORDER BY d.port, d.day`, []any{since}, func(scan func(...any) error) error {
		var ref inventory.PortRef
		p, err := scanPeak(scan, &ref.Device, &ref.Port)
		r.h.Peaks[ref] = append(r.h.Peaks[ref], p)
		return err
	})
	if err != nil {
		return err
	}
	return r.each(`SELECT s.switch, s.supply, d.day, d.peak_at, d.peak, d.night, d.basis FROM supply_days d JOIN supplies s ON s.id = d.supply
		WHERE d.day >= ? ORDER BY d.supply, d.day`, []any{since}, func(scan func(...any) error) error {
		var ref inventory.SupplyRef
		p, err := scanPeak(scan, &ref.Switch, &ref.Supply)
		r.h.Supplies[ref] = append(r.h.Supplies[ref], p)
		return err
	})
}

func (r *historyReader) zone() *time.Location {
	if r.loc == nil {
		return time.UTC
	}
	return r.loc
}

func (r *historyReader) uptimes() error {
	r.h.Uptimes = map[string][]inventory.UpTime{}
	const q = `SELECT u.device, u.at, u.ticks, u.boots, u.engine, u.host FROM devices d CROSS JOIN uptimes u ON u.device = d.name AND u.at >= coalesce(
			(SELECT at FROM uptimes WHERE device = d.name ORDER BY at DESC LIMIT 1 OFFSET ?1 - 1), 0)
		ORDER BY u.device, u.at DESC`
	return r.each(q, []any{lastUptimes}, func(scan func(...any) error) error {
		var device string
		var u inventory.UpTime
		var at int64
		if err := scan(&device, &at, &u.Ticks, &u.Boots, &u.Engine, &u.Host); err != nil {
			return err
		}
		u.Read = unix(at)
		r.h.Uptimes[device] = append(r.h.Uptimes[device], u)
		return nil
	})
}

// levels gives each radio's median of the day.
func (r *historyReader) levels() error {
	r.h.Levels = map[string][]inventory.Level{}
	var day []float64 // of the radio and the day being read
	const q = `SELECT device, at, dbm FROM levels WHERE at >= ? ORDER BY device, at`
	return r.each(q, []any{r.now.Add(-historyPeaks).Unix()}, func(scan func(...any) error) error {
		var device string
		var at int64
		var dbm float64
		if err := scan(&device, &at, &dbm); err != nil {
			return err
		}
		ls, start := r.h.Levels[device], midnight(unix(at), r.loc)
		if len(ls) == 0 || !ls[len(ls)-1].Day.Equal(start) {
			ls, day = append(ls, inventory.Level{Day: start}), day[:0]
		}
		k, _ := slices.BinarySearch(day, dbm)
		day = slices.Insert(day, k, dbm)
		ls[len(ls)-1].DBm = day[(len(day)-1)/2]
		r.h.Levels[device] = ls
		return nil
	})
}

// counters gives each port's readings of the last run and the oldest of the week.
// The joins by CROSS keep the planner from reading all samples for it.
func (r *historyReader) counters() error {
	r.h.Counters = map[inventory.PortRef]inventory.CounterBase{}
	if r.h.Previous != nil {
		for _, p := range r.h.Previous.Ports {
			r.h.Counters[inventory.PortRef{Device: p.Switch, Port: p.Port}] = inventory.CounterBase{Last: p}
		}
	}
	const q = `SELECT p.switch, p.port, s.at, s.octets_in, s.octets_out, s.errors_in, s.fcs, s.denied, s.overload, s.short, s.mps_absent
		FROM ports p CROSS JOIN port_samples s ON s.port = p.id AND s.at = (SELECT min(at) FROM port_samples WHERE port = p.id AND at >= ?)`
	return r.each(q, []any{r.now.Add(-7 * 24 * time.Hour).Unix()}, func(scan func(...any) error) error {
		var ref inventory.PortRef
		var at int64
		var in, out, errs, fcs sql.NullInt64
		var pw inventory.PortPower
		if err := scan(&ref.Device, &ref.Port, &at, &in, &out, &errs, &fcs, &pw.Denied, &pw.Overload, &pw.Short, &pw.MPSAbsent); err != nil {
			return err
		}
		b := r.h.Counters[ref]
		b.Week = inventory.PortState{Switch: ref.Device, Port: ref.Port, Power: &pw,
			Counters: inventory.PortCounters{Read: unix(at), In: unsigned(in), Out: unsigned(out), InErrors: unsigned(errs), FCS: unsigned(fcs)}}
		r.h.Counters[ref] = b
		return nil
	})
}

func unsigned(n sql.NullInt64) *uint64 {
	if !n.Valid {
		return nil
	}
	u := uint64(n.Int64)
	return &u
}

func (r *historyReader) speeds() error {
	r.h.Speeds = map[inventory.PortRef]inventory.BitRate{}
	const q = `SELECT switch, port, speed FROM (SELECT p.switch, p.port, (SELECT s.speed FROM port_samples s
			WHERE s.port = p.id AND s.speed IS NOT NULL AND s.at >= ? ORDER BY s.speed DESC LIMIT 1) AS speed FROM ports p)
		WHERE speed IS NOT NULL`
	return r.each(q, []any{r.now.Add(-historySpeed).Unix()}, func(scan func(...any) error) error {
		var ref inventory.PortRef
		var speed int64
		err := scan(&ref.Device, &ref.Port, &speed)
		r.h.Speeds[ref] = inventory.BitRate(speed)
		return err
	})
}

func (r *historyReader) open() error {
	r.h.Open = map[string]inventory.Episode{}
	quiet, err := hushes(r.ctx, r.tx, r.now)
	if err != nil {
		return err
	}
	eps, err := openEpisodes(r.ctx, r.tx)
	if err != nil {
		return err
	}
	for key, e := range eps {
		ie := inventory.Episode{Key: key, Kind: string(e.Finding.Kind), Severity: string(e.Finding.Severity), Opened: e.Opened, Seen: e.Seen}
		for _, h := range quiet {
			if h.Key == key || h.Key == HushAll {
				ie.HushedUntil, ie.HushWhy = h.Until, h.Why
			}
		}
		r.h.Open[key] = ie
	}
	return nil
}

func (r *historyReader) pulses() error {
	r.h.Pulse = map[string]inventory.PulsePresence{}
	return r.each(`SELECT device, at, up FROM pulses`, nil, func(scan func(...any) error) error {
		var device string
		var at int64
		p := inventory.PulsePresence{Looked: true}
		err := scan(&device, &at, &p.Up)
		p.At = unix(at)
		r.h.Pulse[device] = p
		return err
	})
}

func (r *historyReader) logins() error {
	r.h.Logins, r.h.Prints = map[string][]inventory.LoginResult{}, map[string]string{}
	const q = `SELECT device, entry, at, outcome, why, over, print FROM logins WHERE outcome <> 'reserved' ORDER BY at DESC`
	if err := r.each(q, nil, func(scan func(...any) error) error {
		var x inventory.LoginResult
		var at int64
		err := scan(&x.Device, &x.Entry, &at, &x.Outcome, &x.Why, &x.Over, &x.Fingerprint)
		x.When = unix(at)
		if len(r.h.Logins[x.Device]) < lastClaims {
			r.h.Logins[x.Device] = append(r.h.Logins[x.Device], x)
		}
		return err
	}); err != nil {
		return err
	}
	return r.each(`SELECT device, door, print FROM prints`, nil, func(scan func(...any) error) error {
		var device, door, print string
		err := scan(&device, &door, &print)
		r.h.Prints[device+" "+door] = print
		return err
	})
}

// private is the count of a week ago, or the nearest day within three after it.
func (r *historyReader) private() error {
	r.h.Private = map[string]int{}
	from := midnight(r.now.AddDate(0, 0, -7), r.loc)
	const q = `SELECT network, most FROM private_counts WHERE day BETWEEN ? AND ? ORDER BY network, day DESC`
	return r.each(q, []any{from.Unix(), from.AddDate(0, 0, 3).Unix()}, func(scan func(...any) error) error {
		var network string
		var n int
		err := scan(&network, &n)
		r.h.Private[network] = n
		return err
	})
}

func (r *historyReader) outages() error {
	const q = `SELECT what, since, until FROM outages WHERE until IS NULL OR until >= ? ORDER BY since`
	return r.each(q, []any{r.now.AddDate(0, 0, -14).Unix()}, func(scan func(...any) error) error {
		o, err := scanOutage(scan)
		r.h.Outages = append(r.h.Outages, o)
		return err
	})
}

func scanOutage(scan func(...any) error) (inventory.Outage, error) {
	var o inventory.Outage
	var since int64
	var until sql.NullInt64
	err := scan(&o.What, &since, &until)
	o.From = unix(since)
	if until.Valid {
		o.To = unix(until.Int64)
	}
	return o, err
}
