// Package accept turns findings that were really decisions into changes of the
// plan: the moved camera belongs where it is now. It is pure.
package accept

import (
	"cmp"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strconv"
	"strings"

	"boundwalk/cmd/internal/draft"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// ErrNothing is returned for findings that hold no fact that a plan could take.
var ErrNothing = errors.New("there is nothing to accept")

// Kinds are those of findings that hold a fact which a plan can take.
var Kinds = []diff.Kind{diff.MovedDevice, diff.ReplacedDevice, diff.AddressDiffers, diff.WrongNetwork, diff.UnknownDevice, diff.NoAddress,
	diff.WrongVLAN, diff.ClassDiffers}

// Taken is what one finding changes.
type Taken struct {
	Key     string
	What    string // in words, such as "gate-cam at quay-switch/7"
	Note    string // what is left to do by hand; empty: nothing
	Changes []planfile.Change
	Spare   inventory.PortRef // the port that is put to use, where the plan keeps it free
}

// All is Take for several findings, of which each sees what those before it
// add: two devices that nobody knew get two names. The errors of all are joined.
func All(plan *inventory.Plan, snap *inventory.Snapshot, findings []diff.Finding, name string) ([]Taken, error) {
	known := *plan
	known.Devices = slices.Clone(plan.Devices)
	var out []Taken
	var errs []error
	for _, f := range findings {
		t := &taker{plan: &known, snap: snap, f: f, name: name, out: Taken{Key: f.Key}}
		if err := t.take(); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", f.Key, err))
			continue
		}
		if t.new != nil {
			known.Devices = append(known.Devices, *t.new)
			known.Index()
		}
		out = append(out, t.out)
	}
	return out, errors.Join(errs...)
}

// Unspare takes the ports that are put to use off the spare ones, once each.
func Unspare(taken []Taken) []planfile.Change {
	var out []planfile.Change
	done := map[inventory.PortRef]bool{}
	for _, t := range taken {
		if t.Spare.Port != "" && !done[t.Spare] {
			done[t.Spare] = true
			out = append(out, planfile.Remove(t.Spare.Device, "spare", t.Spare.Port))
		}
	}
	return out
}

// Take finds the changes by which the plan agrees with the finding. The
// snapshot is that of the last run. Name is for a device that the plan does not
// know yet; empty: what it calls itself, else made from its address.
func Take(plan *inventory.Plan, snap *inventory.Snapshot, f diff.Finding, name string) (Taken, error) {
	taken, err := All(plan, snap, []diff.Finding{f}, name)
	if err != nil {
		return Taken{}, err
	}
	return taken[0], nil
}

func (t *taker) take() error {
	d, planned := t.plan.Device(t.f.Subject)
	switch {
	case planned && t.f.Kind == diff.MovedDevice:
		return t.moved(d)
	case planned && t.f.Kind == diff.ReplacedDevice:
		return t.replaced(d)
	case planned && (t.f.Kind == diff.AddressDiffers || t.f.Kind == diff.WrongNetwork):
		return t.address(d)
	case t.f.Kind == diff.UnknownDevice && len(t.f.MACs) > 0 || t.f.Kind == diff.NoAddress && !planned:
		return t.unknown()
	case t.f.Kind == diff.WrongVLAN || t.f.Kind == diff.ClassDiffers:
		return t.port()
	}
	return t.nothing()
}

type taker struct {
	plan *inventory.Plan
	snap *inventory.Snapshot
	f    diff.Finding
	name string
	out  Taken
	new  *inventory.Device // an entry that the plan gets
}

func (t *taker) say(c planfile.Change, format string, args ...any) {
	t.out.Changes = append(t.out.Changes, c)
	t.out.What = fmt.Sprintf(format, args...)
}

func (t *taker) nothing() error {
	switch t.f.Kind {
	case diff.MissingDevice:
		return fmt.Errorf("%w: if it is gone for good, take its entry out of the plan by hand; if it is gone for a season, give it away: as in away: Nov-Mar", ErrNothing)
	case diff.FirmwareChanged, diff.Restarted, diff.PortsRenumbered, diff.CertificateChanged:
		return fmt.Errorf("%w: it tells of something that happened, and goes by itself", ErrNothing)
	}
	return fmt.Errorf("%w: the plan has no word for it; do what it advises, or hush it", ErrNothing)
}

func (t *taker) moved(d *inventory.Device) error {
	to := inventory.ParsePortRef(t.f.Where)
	if to.Port == "" {
		return errors.New("the finding names no port")
	}
	for i := range t.plan.Devices {
		if o := &t.plan.Devices[i]; o.Name != d.Name && o.At.Device == to.Device && inventory.PortName(o.At.Port) == inventory.PortName(to.Port) {
			t.out.Note = fmt.Sprintf("the plan has %s at %s too: accept or correct that as well", o.Name, to)
		}
	}
	t.say(planfile.Set(d.Name, "at", to.String()), "%s at %s", d.Name, to)
	t.out.Spare = spare(t.plan, to)
	if d.IsPassive() || len(d.Via) > 0 {
		t.out.Note = "its injector's lead may still be live where it hung: find it and label it before anything is plugged in there"
	}
	return nil
}

// spare is the port as the plan writes it under spare; zero where it is not kept free.
func spare(plan *inventory.Plan, at inventory.PortRef) inventory.PortRef {
	if up, ok := plan.Device(at.Device); ok {
		for _, p := range up.Spare {
			if inventory.PortName(p) == inventory.PortName(at.Port) {
				return inventory.PortRef{Device: up.Name, Port: p}
			}
		}
	}
	return inventory.PortRef{}
}

func (t *taker) replaced(d *inventory.Device) error {
	macs := t.f.MACs
	if len(macs) == 0 {
		return errors.New("the finding names no MAC address")
	}
	var all []string
	for i, m := range macs {
		all = append(all, m.String())
		switch {
		case i > 0:
			t.say(planfile.Append(d.Name, "mac", m.String()), "")
		case len(d.MACs) == 1:
			t.say(planfile.Replace(d.Name, "mac", d.MACs[0].String(), m.String()), "")
		default:
			t.say(planfile.Set(d.Name, "mac", m.String()), "")
		}
	}
	t.out.What = fmt.Sprintf("%s with the MAC address %s", d.Name, strings.Join(all, ", "))
	if d.Serial != "" {
		t.out.Note = "the plan has a serial number for the old one: correct it"
	}
	return nil
}

func (t *taker) address(d *inventory.Device) error {
	s, ok := t.snap.Device(d.Name)
	if !ok {
		return errors.New("the last run did not see it")
	}
	got := slices.DeleteFunc(slices.Clone(s.Addrs), func(a netip.Addr) bool { return !a.Is4() })
	if len(got) == 0 {
		if len(s.Foreign) > 0 {
			return fmt.Errorf("%s lies in no network of the plan: write that network first", s.Foreign[0])
		}
		return errors.New("the last run saw no address of it")
	}
	a := got[0]
	if len(d.Addresses) == 1 {
		t.say(planfile.Replace(d.Name, "address", d.Addresses[0].String(), a.String()), "")
	} else {
		t.say(planfile.Set(d.Name, "address", a.String()), "")
	}
	t.out.What = fmt.Sprintf("%s at %s", d.Name, a)
	if len(got) > 1 {
		t.out.Note = fmt.Sprintf("it has %d addresses; the first was taken", len(got))
	}
	return nil
}

func (t *taker) unknown() error {
	i := slices.IndexFunc(t.snap.Devices, func(s inventory.SeenDevice) bool {
		return !s.Planned && slices.ContainsFunc(s.MACs, func(m inventory.MAC) bool { return slices.Contains(t.f.MACs, m) })
	})
	if i < 0 {
		return errors.New("the last run did not see it")
	}
	for _, m := range t.f.MACs {
		if d, ok := deviceOf(t.plan, m); ok {
			t.out.What = fmt.Sprintf("%s has the MAC address %s", d.Name, m)
			return nil
		}
	}
	d, note := Entry(t.plan, t.snap, &t.snap.Devices[i], t.name)
	t.say(planfile.Add(d), "%s, new: %s", d.Name, d.MACs[0])
	t.new, t.out.Spare = &d, spare(t.plan, d.At)
	if !d.At.IsZero() {
		t.out.What += " at " + d.At.String()
	}
	t.out.Note = note
	return nil
}

// deviceOf is the planned device that owns a MAC address.
func deviceOf(plan *inventory.Plan, m inventory.MAC) (*inventory.Device, bool) {
	i := slices.IndexFunc(plan.Devices, func(d inventory.Device) bool { return slices.Contains(d.MACs, m) })
	if i < 0 {
		return nil, false
	}
	return &plan.Devices[i], true
}

// Entry is a plan entry for a device that no plan names, by all that the run
// saw of it. The note says what is to be checked by hand.
func Entry(plan *inventory.Plan, snap *inventory.Snapshot, s *inventory.SeenDevice, name string) (d inventory.Device, note string) {
	d = inventory.Device{Name: cmp.Or(name, draft.Name(plan, s)), Role: s.Role, MACs: slices.Clone(s.MACs)}
	for _, a := range s.Addrs {
		if n, ok := plan.NetworkOf(a); ok && a.Is4() && n.Unknown != inventory.UnknownCount {
			d.Addresses = append(d.Addresses, a)
		}
	}
	var notes []string
	if d.Role == "" {
		notes = append(notes, "give it a role")
	}
	_, ok := plan.Device(s.Place.Switch)
	firm := s.Place.Among < 2 && (s.Place.Basis == inventory.ByLLDP || s.Place.Basis == inventory.ByFDB)
	switch {
	case !ok || !firm:
		notes = append(notes, "say where it hangs (at)")
	default:
		d.At = s.Place.Ref()
		for i := range plan.Devices {
			if o := &plan.Devices[i]; o.At == d.At || o.Name == d.At.Device && inventory.PortName(o.Port) == inventory.PortName(d.At.Port) && o.Port != "" {
				d.At = inventory.PortRef{}
				notes = append(notes, fmt.Sprintf("it was seen at %s, where the plan has %s: say where it hangs (at)", s.Place.Ref(), o.Name))
				break
			}
		}
	}
	if !d.At.IsZero() {
		if p, ok := snap.Port(d.At); ok && p.Power != nil && p.Power.State == inventory.PSEDelivering {
			d.Class = p.Power.Class
		}
	}
	if s.Private {
		notes = append(notes, "its MAC address is a made-up one, and may change")
	}
	return d, strings.Join(notes, "; ")
}

// port takes what a port shows for the device that is planned there.
func (t *taker) port() error {
	ref := inventory.ParsePortRef(t.f.Subject)
	p, ok := t.snap.Port(ref)
	if !ok {
		return fmt.Errorf("the last run knows no port %s", ref)
	}
	var d *inventory.Device
	for i := range t.plan.Devices {
		if o := &t.plan.Devices[i]; t.plan.ManagedPort(o) == ref && (d == nil || o.At == ref) {
			d = o
		}
	}
	if d == nil {
		return fmt.Errorf("the plan has no device at %s", ref)
	}
	if t.f.Kind == diff.WrongVLAN {
		if p.VLAN == 0 || !p.VLANKnown {
			return errors.New("the last run did not read its VLAN")
		}
		t.say(planfile.Set(d.Name, "vlan", strconv.Itoa(p.VLAN)), "%s in VLAN %d", d.Name, p.VLAN)
		if len(d.Tagged) > 0 {
			t.out.Note = "its tagged VLANs were left as they are"
		}
		return nil
	}
	if p.Power != nil {
		if n, ok := p.Power.Class.Number(); ok {
			t.say(planfile.Set(d.Name, "class", strconv.Itoa(n)), "%s with class %d", d.Name, n)
			return nil
		}
	}
	return errors.New("the last run did not read its class")
}
