package diff

import (
	"cmp"
	"net/netip"
	"slices"
	"time"

	"boundwalk/inventory"
)

// Audit compares what a run found with the plan and the past. It is pure: the
// same arguments give the same findings, in the order of Sort, and it keeps and
// changes none of them. An aborted run is never compared and gives nil, as does a
// missing plan or snapshot; a nil history is a first run.
func Audit(plan *inventory.Plan, snap *inventory.Snapshot, hist *inventory.History, now time.Time) []Finding {
	if plan == nil || snap == nil || snap.Aborted {
		return nil
	}
	if hist == nil {
		hist = &inventory.History{}
	}
	a := newAuditor(plan, snap, hist, now)
	a.absences()
	for _, rule := range []func(){
		a.secondServer, a.replaced, a.moved, // whoever is explained here is not missing
		a.portPower, a.supplies,
		a.missing,
		a.addresses, a.otherNetworks, a.unknown,
		a.vlans, a.wires, a.life,
		a.radios, a.services, a.access, a.internet,
	} {
		rule()
	}
	return a.finish()
}

// auditor holds one Audit while it runs.
type auditor struct {
	plan *inventory.Plan
	snap *inventory.Snapshot
	hist *inventory.History
	now  time.Time
	loc  *time.Location
	near inventory.Near

	names   []string // every planned name once, in the plan's order
	planned map[string]*inventory.Device
	seen    map[string]*inventory.SeenDevice // by name, planned or not
	ports   map[inventory.PortRef]*inventory.PortState
	before  map[inventory.PortRef]*inventory.PortState // of the run before
	on      map[inventory.PortRef][]*inventory.Device  // what the plan hangs on a port itself
	onPort  [][]*inventory.Device                      // the same for each of the snapshot's ports
	agents  map[string]*inventory.AgentState
	wasSeen map[string]*inventory.SeenDevice
	owner   map[inventory.MAC]*inventory.SeenDevice
	holder  map[netip.Addr]*inventory.SeenDevice // of an address: present, with one address of the link layer
	tree    *tree

	recorder *inventory.Device // the only one; see recorderOf
	settling bool
	absent   map[string]bool     // looked for in vain in this run, and meant to be there
	gone     map[string]bool     // absent for so long that it counts
	covered  map[string]bool     // what another finding says already: neither missing nor in the wrong place
	cause    map[string]*Finding // device -> the finding that explains why it is gone
	faulted  map[string]bool     // devices whose restart a power finding tells
	known    map[inventory.MAC]bool
	found    []*Finding
}

func newAuditor(given *inventory.Plan, snap *inventory.Snapshot, hist *inventory.History, now time.Time) *auditor {
	copied := *given // its own index; the devices stay the caller's
	plan := &copied
	plan.Index()
	a := &auditor{plan: plan, snap: snap, hist: hist, now: now, loc: plan.Site.Location, near: nearOf(plan),
		planned: make(map[string]*inventory.Device, len(plan.Devices)),
		on:      make(map[inventory.PortRef][]*inventory.Device, len(plan.Devices)),
		seen:    make(map[string]*inventory.SeenDevice, len(snap.Devices)),
		owner:   make(map[inventory.MAC]*inventory.SeenDevice, len(snap.Devices)),
		holder:  make(map[netip.Addr]*inventory.SeenDevice, len(snap.Devices)),
		ports:   portsOf(snap), agents: map[string]*inventory.AgentState{}, wasSeen: map[string]*inventory.SeenDevice{},
		absent: map[string]bool{}, gone: map[string]bool{}, covered: map[string]bool{}, faulted: map[string]bool{},
		cause: map[string]*Finding{}, known: map[inventory.MAC]bool{}}
	if a.loc == nil {
		a.loc = time.UTC
	}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		if _, twice := a.planned[d.Name]; twice {
			continue
		}
		a.planned[d.Name] = d
		if d.At.Port != "" {
			k := portKey(d.At)
			a.on[k] = append(a.on[k], d)
		}
	}
	for i := range snap.Devices {
		d := &snap.Devices[i]
		if _, twice := a.seen[d.Name]; !twice {
			a.seen[d.Name] = d
		}
		a.own(d)
	}
	for i := range snap.Agents {
		a.agents[snap.Agents[i].Device] = &snap.Agents[i]
	}
	if p := hist.Previous; p != nil {
		a.before = portsOf(p)
		a.wasSeen = make(map[string]*inventory.SeenDevice, len(p.Devices))
		for i := range p.Devices {
			a.wasSeen[p.Devices[i].Name] = &p.Devices[i]
		}
	}
	a.onPort = make([][]*inventory.Device, 0, len(snap.Ports))
	for i := range snap.Ports {
		a.onPort = append(a.onPort, a.on[portKey(refOf(&snap.Ports[i]))])
	}
	a.names = namesInPlan(plan, a.planned)
	a.tree = treeOf(plan, a.planned, a.self())
	a.recorder, a.settling = onlyRecorder(plan), a.settles()
	return a
}

// own notes whose the addresses are; the first to have one keeps it.
func (a *auditor) own(d *inventory.SeenDevice) {
	for _, m := range d.MACs {
		if a.owner[m] == nil {
			a.owner[m] = d
		}
	}
	if len(d.MACs) != 1 || d.Presence != inventory.Present {
		return
	}
	for _, ip := range d.Addrs {
		if a.holder[ip] == nil {
			a.holder[ip] = d
		}
	}
}

// nearOf is the plan's thresholds, the contract's where it says none.
func nearOf(plan *inventory.Plan) inventory.Near {
	n := plan.Near
	return inventory.Near{PortShare: cmp.Or(n.PortShare, 0.90), SupplyShare: cmp.Or(n.SupplyShare, 0.80),
		LinkShare: cmp.Or(n.LinkShare, 0.70), Band: cmp.Or(n.Band, 0.05)}
}

// portKey is a port as it is looked up: people write labels in any case.
func portKey(r inventory.PortRef) inventory.PortRef {
	return inventory.PortRef{Device: r.Device, Port: inventory.PortName(r.Port)}
}

func portsOf(s *inventory.Snapshot) map[inventory.PortRef]*inventory.PortState {
	m := make(map[inventory.PortRef]*inventory.PortState, len(s.Ports))
	for i := range s.Ports {
		p := &s.Ports[i]
		k := portKey(refOf(p))
		if _, twice := m[k]; !twice {
			m[k] = p
		}
	}
	return m
}

func refOf(p *inventory.PortState) inventory.PortRef {
	return inventory.PortRef{Device: p.Switch, Port: p.Port}
}

// self is the planned device that boundwalk runs on; empty: it is in no plan.
func (a *auditor) self() string {
	for i := range a.snap.Devices {
		if d := &a.snap.Devices[i]; d.Self && a.planned[d.Name] != nil {
			return d.Name
		}
	}
	return ""
}

// portOf is the state of the port that the device itself hangs on; nil where
// no agent told of it.
func (a *auditor) portOf(d *inventory.Device) *inventory.PortState {
	if d.At.Port == "" {
		return nil
	}
	return a.ports[portKey(d.At)]
}

// add takes a finding in; about is the planned device whose importance counts,
// or nil. The caller may go on filling in what is returned.
func (a *auditor) add(f Finding, about *inventory.Device) *Finding {
	if about != nil && about.Important {
		f.Severity = f.Severity.raised()
	}
	k := &f
	a.found = append(a.found, k)
	return k
}

// raised is one step more pressing.
func (s Severity) raised() Severity {
	if s == Note {
		return Warning
	}
	return Urgent
}

// pressing is the more urgent of two.
func pressing(s, t Severity) Severity {
	if t.Rank() < s.Rank() {
		return t
	}
	return s
}

// open reports whether the finding was there in the run before.
func (a *auditor) open(k Kind, subject string) bool {
	_, ok := a.hist.Open[New(k, subject).Key]
	return ok
}

// finish applies the plan's own severities, dates each finding, and sorts.
func (a *auditor) finish() []Finding {
	var out []Finding
	seen := map[string]bool{}
	for _, f := range a.found {
		if f.Kind == "" || seen[f.Key] || !a.override(f) {
			continue
		}
		seen[f.Key] = true
		f.Since = a.now
		if e, ok := a.hist.Open[f.Key]; ok && !e.Opened.IsZero() {
			f.Since = e.Opened
		}
		slices.Sort(f.Behind)
		f.Behind = slices.Compact(f.Behind)
		slices.SortFunc(f.MACs, inventory.MAC.Compare)
		out = append(out, *f)
	}
	Sort(out)
	return out
}

// override sets the severity that the plan wants for the kind; false: it wants
// none of it. A network that is stricter or milder than usual is the more particular word.
func (a *auditor) override(f *Finding) bool {
	want := a.plan.Severity[string(f.Kind)]
	if want == "off" {
		return false
	}
	s := Severity(want)
	if s != Urgent && s != Warning && s != Note {
		return true
	}
	if f.Kind == UnknownDevice && f.Severity != Warning {
		return true
	}
	f.Severity = s
	return true
}
