package diff

import (
	"fmt"
	"slices"
	"strconv"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// Candidate is a device that someone would like to add. Either Class or Watts is
// wanted; Watts are the most that it draws at its own input.
type Candidate struct {
	Role    inventory.Role
	Class   inventory.Class
	Watts   inventory.Power
	Passive inventory.Feed // the passive feed that it takes; zero: it negotiates
	At      inventory.PortRef
	Length  float64           // metres of cable of the plan's usual make; zero: not known, reckoned at its worst
	Stream  inventory.BitRate // of a camera; zero: as the largest of the plan's
}

// Answer says whether a candidate fits, on paper.
type Answer struct {
	Fits    bool
	Known   bool       // false: a figure that it hangs on is not in the plan; Against says which
	Port    PortLine   // the candidate's own line
	Supply  SupplyLine // of what feeds it, the candidate included
	Room    poe.Room   // beside what hangs there; zero where nothing is reserved
	For     []string   // what speaks for it, one sentence each with its figures
	Against []string   // what speaks against it
	Caution []string   // to print beside them
}

// Fit answers whether the plan carries one more: the port, the cable, the switch's
// reserve and draw, and, of a camera, the links and the recorder. It compares the plan with and
// without the candidate, so that old faults do not count.
func Fit(plan *inventory.Plan, c Candidate) Answer {
	if plan == nil {
		return Answer{Against: []string{"There is no plan."}}
	}
	before := newPaper(plan)
	if why := before.impossible(c); why != "" {
		return Answer{Known: true, Against: []string{why}}
	}
	dev := before.device(c)
	with := *plan
	with.Devices = append(slices.Clone(plan.Devices), dev)
	takeSpare(with.Devices, c.At)
	with.Index()
	after := newPaper(&with)
	a := Answer{Fits: true, Known: true}
	a.power(before, after, dev.Name)
	old := map[string]bool{}
	for _, f := range Paper(plan) {
		old[f.Key+" "+f.Observed] = true
		old[f.Key] = true
	}
	for _, f := range Paper(&with) {
		// A fault that was there counts again only where the candidate makes it worse.
		if old[f.Key+" "+f.Observed] || old[f.Key] && f.Severity == Note {
			continue
		}
		words := fmt.Sprintf("%s: %s, planned %s.", f.Title(), f.Observed, f.Expected)
		if f.Severity == Note {
			a.For = append(a.For, words)
		} else {
			a.Fits = false
			a.Against = append(a.Against, words)
		}
		if f.Caution != "" && !slices.Contains(a.Caution, f.Caution) {
			a.Caution = append(a.Caution, f.Caution)
		}
	}
	a.service(after, &dev)
	if !a.Known {
		a.Fits = false
	}
	return a
}

// takeSpare takes the candidate's port off the spare ones: that is what they are for.
func takeSpare(devices []inventory.Device, at inventory.PortRef) {
	for i := range devices {
		if d := &devices[i]; d.Name == at.Device {
			d.Spare = slices.DeleteFunc(slices.Clone(d.Spare), func(p string) bool { return inventory.PortName(p) == inventory.PortName(at.Port) })
		}
	}
}

// impossible says why the candidate cannot be put there at all; empty: it can.
func (p *paper) impossible(c Candidate) string {
	sw := p.planned[c.At.Device]
	n, err := strconv.Atoi(c.At.Port)
	switch {
	case sw == nil:
		return fmt.Sprintf("The plan has no device %q to hang it on.", c.At.Device)
	case c.At.Port == "":
		return fmt.Sprintf("Say the port, as in %s/3.", c.At.Device)
	case err == nil && sw.Ports > 0 && (n < 1 || n > sw.Ports):
		return fmt.Sprintf("%s has no port %d (it has 1 to %d).", c.At.Device, n, sw.Ports)
	case len(p.on[portKey(c.At)]) > 0:
		return fmt.Sprintf("The plan has %s on %s already.", p.on[portKey(c.At)][0].Name, portWords(c.At))
	case !classed(c.Class) && c.Watts <= 0:
		return "Say its class or its watts."
	}
	return ""
}

// device is the candidate as a planned device, under a name that is free.
func (p *paper) device(c Candidate) inventory.Device {
	name := "new " + string(c.Role)
	if c.Role == "" {
		name = "new device"
	}
	for p.planned[name] != nil {
		name += "+"
	}
	d := inventory.Device{Name: name, Role: c.Role, At: c.At, Class: c.Class, Takes: c.Passive, Stream: c.Stream,
		Draws: inventory.Draws{Most: c.Watts}, Cable: inventory.CableRun{CableSpec: p.plan.Cable, Length: c.Length}}
	if c.Role == inventory.Camera && d.Stream == 0 {
		for i := range p.plan.Devices {
			d.Stream = max(d.Stream, p.plan.Devices[i].Stream)
		}
	}
	return d
}

// power fills in the figures of the port and of what feeds it.
func (a *Answer) power(before, after *paper, name string) {
	f := after.feedOf[name]
	if f == nil || f.src == nil {
		return // the missing feed is among the findings
	}
	a.Port = f.portLine()
	if f.sureErr == nil && f.sure.Volts > 0 {
		say := fmt.Sprintf("%.1f V arrive at it, %s leave the port for the %s that it takes.", f.line.Volts, f.line.AtPort, f.line.Load)
		if f.err != nil {
			say = "With a short cable it runs; how long the cable may be depends on its make."
		}
		a.For = append(a.For, say)
	}
	for _, b := range after.budgets {
		if b.dev.Name == f.src.Name {
			a.Supply = b.line()
		}
	}
	for _, b := range before.budgets {
		if b.dev.Name != f.src.Name {
			continue
		}
		load := f.load(len(b.full.Ports) + 1)
		load.Draw = f.draw()
		if b.reserves() {
			a.Room = b.full.Room(load)
		}
		a.roomWords(b, f)
		return
	}
	a.Known = false
	a.Against = append(a.Against, fmt.Sprintf("The plan gives no budget for %s, so nobody can tell whether its supply carries it.", f.src.Name))
}

func (a *Answer) roomWords(b *budgetLine, f *feedLine) {
	if b.full.Usable <= 0 {
		a.Known = false
		a.Against = append(a.Against, fmt.Sprintf("The plan gives no budget for %s, so nobody can tell whether its supply carries it.", b.dev.Name))
		return
	}
	if len(b.unknown) > 0 {
		a.Known = false
		a.Against = append(a.Against, fmt.Sprintf("What %s takes is not in the plan.", names(b.unknown)))
	}
	if !b.reserves() {
		drawn := b.full.Drawn()
		a.For = append(a.For, fmt.Sprintf("%s has %s to give, %s of it drawn at most without it.", b.dev.Name, b.full.Usable, drawn))
		return
	}
	guard := ""
	if b.full.Guard > 0 {
		guard = fmt.Sprintf(", %s kept free", b.full.Guard)
	}
	words := fmt.Sprintf("%s has %s to give%s; %s are reserved %s and %s drawn at most without it, and it needs %s.",
		b.dev.Name, b.full.Usable, guard, a.Room.Reserved, b.method(), a.Room.Drawn, a.Room.Need)
	if a.Room.Short == 0 {
		a.For = append(a.For, words)
		return
	}
	a.Fits = false
	a.Against = append(a.Against, words+fmt.Sprintf(" %s are missing.", a.Room.Short))
	if !slices.Contains(a.Caution, poe.CautionMains) {
		a.Caution = append(a.Caution, poe.CautionMains)
	}
	if n := len(a.Room.Sheds); n > 0 {
		a.Against = append(a.Against, fmt.Sprintf("A switch that drops lower priorities would drop %s.", Plural(n, "port", "ports")))
	}
}

// service says what a camera more means for its recorder and the links on the way.
func (a *Answer) service(after *paper, dev *inventory.Device) {
	if dev.Stream <= 0 {
		return
	}
	d := after.planned[dev.Name]
	if rec := after.recorderOf(d); rec != nil && rec.Recording.Disk > 0 {
		r, _ := after.recordingOf(rec)
		if got, err := r.Paper(); err == nil && !got.Short {
			a.For = append(a.For, fmt.Sprintf("With its %s, %s keeps %s.", dev.Stream, rec.Name, daysWords(float64(got.Kept))))
		}
	}
	for _, l := range after.linkPapers() {
		usable, _ := l.carries()
		if load := inventory.BitRate(l.link.Load); l.err == nil && usable > 0 && load <= usable && after.crosses(d, l.plan) {
			a.For = append(a.For, fmt.Sprintf("The link %s then carries %s of %s.", l.plan.Name, load, usable))
		}
	}
}
