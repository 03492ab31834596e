package daemon

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/store"
)

// pulse is the light look between runs. What it sees change asks for a run at
// once; only a run judges.
func (d *Daemon) pulse(ctx context.Context) {
	plan := d.plan.Plan()
	b, changed := d.look(ctx, plan)
	if ctx.Err() != nil {
		return
	}
	now := time.Now()
	if changed {
		d.runAt(now, "pulse")
	}
	d.checkLine(ctx, plan, b, now)
	d.weekly(ctx, now)
	d.thin(ctx, now)
	idle()
}

// look asks those that a pulse asks and keeps what they told. It reports whether
// something changed that is worth a run.
func (d *Daemon) look(ctx context.Context, plan *inventory.Plan) (b discover.Beat, changed bool) {
	d.mu.Lock()
	d.state.sign = time.Now()
	snap := d.state.snap
	d.mu.Unlock()
	b = d.Options.Pulse(ctx, plan, discover.Options{Secrets: d.Secrets})
	if ctx.Err() != nil {
		return b, false
	}
	if snap == nil {
		snap = &inventory.Snapshot{}
	}
	if err := d.Book.SavePulse(ctx, plan, sample(plan, snap, b)); err != nil {
		d.Log.Error("pulse", "err", err)
	}
	var down []string
	for name, up := range b.Up {
		if !up {
			down = append(down, name)
		}
	}
	slices.Sort(down)
	d.mu.Lock()
	d.state.beat, d.state.down = b.At, down
	d.mu.Unlock()
	what := d.facts.take(observe(plan, snap, b), time.Now())
	if len(what) > 0 {
		d.Log.Info("pulse: something changed", "what", what)
	}
	return b, len(what) > 0
}

// thin keeps the logbook small, once a day.
func (d *Daemon) thin(ctx context.Context, now time.Time) {
	if now.Sub(d.thinned) < 24*time.Hour && !now.Before(d.thinned) {
		return
	}
	d.thinned = now
	if err := d.Book.Thin(ctx, now); err != nil {
		d.Log.Error("thin the logbook", "err", err)
	}
}

// sample is what the logbook keeps of a pulse: measured draws, and who was up.
func sample(plan *inventory.Plan, snap *inventory.Snapshot, b discover.Beat) store.PulseSample {
	s := store.PulseSample{At: b.At, Up: b.Up}
	for i := range b.Agents {
		a := &b.Agents[i]
		for _, p := range portsOf(snap, a.Device) {
			if w, ok := drawOf(a, p); ok {
				s.Ports = append(s.Ports, store.PortDraw{Port: refOf(p), Draw: w})
			}
		}
		for _, x := range a.Supplies {
			if x.Used != nil {
				s.Supplies = append(s.Supplies, store.SupplyDraw{Supply: inventory.SupplyRef{Switch: a.Device, Supply: strconv.Itoa(x.Group)}, Draw: *x.Used})
			}
		}
	}
	return s
}

func portsOf(snap *inventory.Snapshot, device string) []*inventory.PortState {
	var out []*inventory.PortState
	for i := range snap.Ports {
		if snap.Ports[i].Switch == device {
			out = append(out, &snap.Ports[i])
		}
	}
	return out
}

func refOf(p *inventory.PortState) inventory.PortRef {
	return inventory.PortRef{Device: p.Switch, Port: p.Port}
}

// drawOf is the measured draw of a port, by the row that the last run mapped to it.
func drawOf(a *inventory.Agent, p *inventory.PortState) (inventory.Power, bool) {
	if p.Power == nil {
		return 0, false
	}
	for _, o := range a.Objects {
		if o.Use == "power" && o.Value != nil && *o.Value >= 0 && *o.Value < 1e6 && isOf(&o, p) {
			return inventory.Power(*o.Value), true
		}
	}
	if row := pseRow(a, p); row != nil && row.State == inventory.PSEDelivering && row.Actual != nil {
		return *row.Actual, true
	}
	return 0, false
}

func pseRow(a *inventory.Agent, p *inventory.PortState) *inventory.PSEPort {
	for i := range a.PSEPorts {
		if p.Power != nil && a.PSEPorts[i].Index == p.Power.Index {
			return &a.PSEPorts[i]
		}
	}
	return nil
}

// isOf reports whether a row of an object that the plan names is about the port.
func isOf(o *inventory.ObjectReading, p *inventory.PortState) bool {
	switch o.Kind {
	case "interface":
		return inventory.IfIndex(o.Index) == p.Index
	case "pse":
		return inventory.PSEIndex{Group: o.Group, Port: o.Index} == p.Power.Index
	case "port":
		digits := p.Port[strings.LastIndexFunc(p.Port, func(r rune) bool { return r < '0' || r > '9' })+1:]
		return digits == strconv.Itoa(o.Index)
	}
	return false
}

// fact is one thing that a pulse saw; pressing where someone waits for it.
type fact struct {
	value    string
	pressing bool
}

// facts are what pulses saw last. A key that is missing in one keeps its value.
type facts struct {
	known  map[string]fact
	urgent allowance
	other  allowance
}

// How many runs pulses may ask for in an hour, so that a loose plug or a
// laptop's dock does not keep the network busy.
const (
	mostUrgent = 12
	mostOther  = 4
)

// take notes what was seen, and returns what changed if that is worth a run.
func (f *facts) take(seen map[string]fact, now time.Time) []string {
	if f.known == nil {
		f.known = map[string]fact{}
	}
	var pressing, others []string
	for k, v := range seen {
		if old, ok := f.known[k]; ok && old.value != v.value {
			words := k + ": " + v.value
			if v.pressing {
				pressing = append(pressing, words)
			} else {
				others = append(others, words)
			}
		}
		f.known[k] = v
	}
	if len(pressing) > 0 && f.urgent.spend(now, mostUrgent) || len(others) > 0 && f.other.spend(now, mostOther) {
		all := append(pressing, others...)
		slices.Sort(all)
		return all
	}
	return nil
}

// allowance counts what was done in the last hour.
type allowance []time.Time

func (a *allowance) spend(now time.Time, most int) bool {
	*a = slices.DeleteFunc(*a, func(t time.Time) bool { return now.Sub(t) >= time.Hour || t.After(now) })
	if len(*a) >= most {
		return false
	}
	*a = append(*a, now)
	return true
}

// observe lists what the pulse saw. Ports are those that the last run knows.
func observe(plan *inventory.Plan, snap *inventory.Snapshot, b discover.Beat) map[string]fact {
	out := map[string]fact{}
	for name, up := range b.Up {
		out[name] = fact{words(up, "answers", "does not answer"), true}
	}
	for i := range b.Agents {
		a := &b.Agents[i]
		oper := map[inventory.IfIndex]bool{}
		for _, x := range a.Interfaces {
			if x.OperUp != nil {
				oper[x.Index] = *x.OperUp
			}
		}
		for _, p := range portsOf(snap, a.Device) {
			pressing, skip := expects(plan, p)
			if skip {
				continue
			}
			if up, ok := oper[p.Index]; ok {
				out["link "+refOf(p).String()] = fact{words(up, "up", "down"), pressing}
			}
			observePower(out, a, p, pressing)
		}
		if a.UPS != nil && a.UPS.Source != "" {
			out["source of "+a.Device] = fact{a.UPS.Source, true}
		}
	}
	return out
}

func observePower(out map[string]fact, a *inventory.Agent, p *inventory.PortState, pressing bool) {
	if row := pseRow(a, p); row != nil {
		state := "not delivering"
		if row.State == inventory.PSEDelivering || row.State == inventory.PSEFault {
			state = string(row.State)
		}
		out["power "+refOf(p).String()] = fact{state, pressing}
	}
	if w, ok := drawOf(a, p); ok && p.Power.Grant != nil {
		out["draw "+refOf(p).String()] = fact{words(w > *p.Power.Grant, "over its limit", "within its limit"), true}
	}
}

// expects reports whether the plan waits for something on the port, and whether
// what happens there is nobody's concern: guests, and what comes and goes.
func expects(plan *inventory.Plan, p *inventory.PortState) (pressing, skip bool) {
	if sw, ok := plan.Device(p.Switch); ok && slices.Contains(sw.Guest, p.Port) {
		return false, true
	}
	roams := 0
	for _, name := range p.Planned {
		if d, ok := plan.Device(name); ok && d.Role.Roams() {
			roams++
		}
	}
	return roams < len(p.Planned) || p.Uplink, roams > 0 && roams == len(p.Planned)
}

func words(yes bool, so, not string) string {
	if yes {
		return so
	}
	return not
}
