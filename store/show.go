package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"boundwalk/inventory"
)

// RunRow is a run as the logbook lists it.
type RunRow struct {
	ID       int64
	Started  time.Time
	Finished time.Time // zero: it runs, or was killed
	State    string
	Asked    string
	Settling bool
	Devices  int // of complete runs
	Unknown  int
	Findings int
	Why      string
}

// Runs lists the latest runs, newest first.
func (l *Logbook) Runs(ctx context.Context, most int) ([]RunRow, error) {
	var out []RunRow
	const q = `SELECT id, started, finished, state, asked, settling, coalesce(devices, 0), coalesce(unknown, 0), coalesce(findings, 0), coalesce(why, '')
		FROM runs ORDER BY id DESC LIMIT ?`
	if err := query(ctx, l.db, q, []any{most}, func(scan func(...any) error) error {
		var r RunRow
		var started int64
		var finished sql.NullInt64
		err := scan(&r.ID, &started, &finished, &r.State, &r.Asked, &r.Settling, &r.Devices, &r.Unknown, &r.Findings, &r.Why)
		r.Started = unix(started)
		if finished.Valid {
			r.Finished = unix(finished.Int64)
		}
		out = append(out, r)
		return err
	}); err != nil {
		return nil, fmt.Errorf("runs: %w", plain(err))
	}
	return out, nil
}

// DeviceRow is what the logbook remembers of a device beyond the last run.
type DeviceRow struct {
	Name        string
	Planned     bool
	First, Last time.Time         // Last zero: never seen present
	Places      []inventory.Place // latest first
	Addresses   []AddressRow      // latest first
}

// AddressRow is an address with who had it.
type AddressRow struct {
	MAC         inventory.MAC
	Addr        string
	First, Last time.Time
}

// Devices gives first and last sightings by name.
func (l *Logbook) Devices(ctx context.Context) (map[string]DeviceRow, error) {
	out := map[string]DeviceRow{}
	if err := query(ctx, l.db, `SELECT name, planned, first, last FROM devices`, nil, func(scan func(...any) error) error {
		var d DeviceRow
		var first, last int64
		err := scan(&d.Name, &d.Planned, &first, &last)
		d.First = unix(first)
		if last > 0 {
			d.Last = unix(last)
		}
		out[d.Name] = d
		return err
	}); err != nil {
		return nil, fmt.Errorf("devices: %w", plain(err))
	}
	return out, nil
}

// Device gives one device's past, its places and addresses included; false where the logbook
// does not know it.
func (l *Logbook) Device(ctx context.Context, name string, macs []inventory.MAC) (DeviceRow, bool, error) {
	all, err := l.Devices(ctx)
	if err != nil {
		return DeviceRow{}, false, err
	}
	d, ok := all[name]
	if !ok {
		return d, false, nil
	}
	for _, m := range macs {
		if err := query(ctx, l.db, `SELECT switch, port, basis, last FROM places WHERE mac = ? ORDER BY last DESC LIMIT 20`, []any{m.String()},
			func(scan func(...any) error) error {
				var p inventory.Place
				var last int64
				err := scan(&p.Switch, &p.Port, &p.Basis, &last)
				p.Seen = unix(last)
				d.Places = append(d.Places, p)
				return err
			}); err != nil {
			return d, false, fmt.Errorf("places of %s: %w", name, plain(err))
		}
	}
	if err := query(ctx, l.db, `SELECT mac, addr, first, last FROM addresses WHERE device = ? ORDER BY last DESC LIMIT 50`, []any{name},
		func(scan func(...any) error) error {
			var a AddressRow
			var mac string
			var first, last int64
			if err := scan(&mac, &a.Addr, &first, &last); err != nil {
				return err
			}
			m, err := inventory.ParseMAC(mac)
			a.MAC, a.First, a.Last = m, unix(first), unix(last)
			d.Addresses = append(d.Addresses, a)
			return err
		}); err != nil {
		return d, false, fmt.Errorf("addresses of %s: %w", name, plain(err))
	}
	return d, true, nil
}

// Repetitions gives the working request size of each agent that needs a small one.
func (l *Logbook) Repetitions(ctx context.Context) (map[string]int, error) {
	out := map[string]int{}
	if err := query(ctx, l.db, `SELECT device, repetitions FROM agents`, nil, func(scan func(...any) error) error {
		var device string
		var n int
		err := scan(&device, &n)
		out[device] = n
		return err
	}); err != nil {
		return nil, fmt.Errorf("agents: %w", plain(err))
	}
	return out, nil
}

// DrawSample is a port's or a supply's draw at a time.
type DrawSample struct {
	At   time.Time
	Draw inventory.Power
}

// SupplySamples lists a supply's samples since then, oldest first. Of what is older
// than the samples kept, it lists the highest of each hour.
func (l *Logbook) SupplySamples(ctx context.Context, ref inventory.SupplyRef, since time.Time) ([]DrawSample, error) {
	return l.samples(ctx, `SELECT s.at, s.used FROM supplies p JOIN supply_samples s ON p.id = s.supply
			WHERE p.switch = ?1 AND p.supply = ?2 AND s.at >= ?3 AND s.used IS NOT NULL
		UNION ALL SELECT h.peak_at, h.peak FROM supplies p JOIN supply_hours h ON p.id = h.supply
			WHERE p.switch = ?1 AND p.supply = ?2 AND h.peak_at >= ?3 ORDER BY 1`, ref.Switch, ref.Supply, since.Unix())
}

// PortSamples lists a port's measured or negotiated samples since then, oldest first.
// Of what is older than the samples kept, it lists the highest of each hour.
func (l *Logbook) PortSamples(ctx context.Context, ref inventory.PortRef, since time.Time) ([]DrawSample, error) {
	return l.samples(ctx, `SELECT s.at, s.draw FROM ports p JOIN port_samples s ON p.id = s.port
			WHERE p.switch = ?1 AND p.port = ?2 AND s.at >= ?3 AND s.draw IS NOT NULL
		UNION ALL SELECT h.peak_at, h.peak FROM ports p JOIN port_hours h ON p.id = h.port
			WHERE p.switch = ?1 AND p.port = ?2 AND h.peak_at >= ?3 ORDER BY 1`, ref.Device, ref.Port, since.Unix())
}

func (l *Logbook) samples(ctx context.Context, q string, args ...any) ([]DrawSample, error) {
	var out []DrawSample
	if err := query(ctx, l.db, q, args, func(scan func(...any) error) error {
		var at, draw int64
		err := scan(&at, &draw)
		out = append(out, DrawSample{unix(at), inventory.Power(draw)})
		return err
	}); err != nil {
		return nil, fmt.Errorf("samples: %w", plain(err))
	}
	return out, nil
}
