package store

import (
	"time"

	"boundwalk/inventory"
)

// The hours that count as night, in which lamps and heaters draw most.
const (
	nightFrom = 21
	nightTo   = 5
)

func isNight(t time.Time, loc *time.Location) bool {
	if loc == nil {
		loc = time.UTC
	}
	h := t.In(loc).Hour()
	return h >= nightFrom || h < nightTo
}

func (w *runWriter) portID(ref inventory.PortRef) (int64, error) {
	if id, ok := w.portIDs[ref]; ok {
		return id, nil
	}
	id, err := w.named(`INSERT INTO ports (switch, port) VALUES (?, ?) ON CONFLICT DO NOTHING`,
		`SELECT id FROM ports WHERE switch = ? AND port = ?`, ref.Device, ref.Port)
	if err != nil {
		return 0, err
	}
	if w.portIDs == nil {
		w.portIDs = map[inventory.PortRef]int64{}
	}
	w.portIDs[ref] = id
	return id, nil
}

func (w *runWriter) ports() error {
	const q = `INSERT INTO port_samples (port, at, up, speed, state, class, draw, basis, octets_in, octets_out, errors_in, fcs,
		denied, overload, short, mps_absent) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`
	for i := range w.snap.Ports {
		p := &w.snap.Ports[i]
		id, err := w.portID(inventory.PortRef{Device: p.Switch, Port: p.Port})
		if err != nil {
			return err
		}
		pw := p.Power
		if pw == nil {
			pw = &inventory.PortPower{}
		}
		var state, class any
		if p.Power != nil {
			state = string(pw.State)
		}
		if n, ok := pw.Class.Number(); ok {
			class = n
		}
		c := &p.Counters
		if err := w.exec(q, id, w.at, p.Up, speed(p), state, class, pw.Draw, string(pw.DrawBasis),
			octets(c.In), octets(c.Out), octets(c.InErrors), octets(c.FCS), pw.Denied, pw.Overload, pw.Short, pw.MPSAbsent); err != nil {
			return err
		}
		if pw.Draw != nil && pw.DrawBasis == inventory.Measured {
			if err := w.peak(portDay, id, w.snap.Finished, *pw.Draw, pw.DrawBasis); err != nil {
				return err
			}
		}
	}
	return nil
}

func speed(p *inventory.PortState) any {
	if p.Speed == 0 {
		return nil
	}
	return int64(p.Speed)
}

// octets fits an unsigned counter into SQLite's signed integers; what it
// takes from the top comes back the same.
func octets(n *uint64) any {
	if n == nil {
		return nil
	}
	return int64(*n)
}

// The day's highest draw with its time, and what the mean needs.
const (
	portDay   = `INSERT INTO port_days (port, ` + dayColumns
	supplyDay = `INSERT INTO supply_days (supply, ` + dayColumns

	dayColumns = `day, peak, peak_at, total, samples, night, basis) VALUES (?1, ?2, ?3, ?4, ?3, 1, ?5, ?6)
		ON CONFLICT DO UPDATE SET peak_at = iif(?3 > peak, ?4, peak_at), peak = max(peak, ?3), total = total + ?3,
			samples = samples + 1, night = night + ?5, basis = ?6`
)

// peak keeps the highest draw of the day; insert is portDay or supplyDay.
func (w *runWriter) peak(insert string, id int64, at time.Time, draw inventory.Power, basis inventory.Basis) error {
	loc := w.plan.Site.Location
	return w.exec(insert, id, midnight(at, loc).Unix(), int64(draw), at.Unix(), isNight(at, loc), string(basis))
}

func (w *runWriter) supplyID(s *inventory.SupplyState) (int64, error) {
	return w.named(`INSERT INTO supplies (switch, supply) VALUES (?, ?) ON CONFLICT DO NOTHING`,
		`SELECT id FROM supplies WHERE switch = ? AND supply = ?`, s.Switch, s.Supply)
}

// named is the number of what has a name of two parts; it gets one where it has none.
func (w *runWriter) named(insert, find, a, b string) (int64, error) {
	if err := w.exec(insert, a, b); err != nil {
		return 0, err
	}
	st, err := w.prepared(find)
	if err != nil {
		return 0, err
	}
	var id int64
	err = st.QueryRowContext(w.ctx, a, b).Scan(&id)
	return id, err
}

func (w *runWriter) supplies() error {
	const q = `INSERT INTO supply_samples (supply, at, budget, used, basis, reserved) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`
	for i := range w.snap.Supplies {
		s := &w.snap.Supplies[i]
		load, basis := s.Load()
		if basis == inventory.Planned {
			continue // paper is no sample
		}
		id, err := w.supplyID(s)
		if err != nil {
			return err
		}
		if err := w.exec(q, id, w.at, s.Budget, load, string(basis), s.Reserved); err != nil {
			return err
		}
		if load != nil {
			if err := w.peak(supplyDay, id, w.snap.Finished, *load, basis); err != nil {
				return err
			}
		}
	}
	return nil
}
