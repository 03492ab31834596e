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

// Taken is what one finding changes.
type Taken struct {
	Key     string
	What    string // in words, such as "gate-cam at quay-switch/7"
	Note    string // what is left to do by hand; empty: nothing
	Changes []planfile.Change
}

// Take finds the changes by which the plan agrees with the finding. The
// snapshot is that of the last run. Name is for a device that the plan does not
// know yet; empty: what it calls itself, else made from its address.
func Take(plan *inventory.Plan, snap *inventory.Snapshot, f diff.Finding, name string) (Taken, error) {
	t := &taker{plan: plan, snap: snap, f: f, name: name, out: Taken{Key: f.Key}}
	d, planned := plan.Device(f.Subject)
	var err error
	switch {
	case planned && f.Kind == diff.MovedDevice:
		err = t.moved(d)
	case planned && f.Kind == diff.ReplacedDevice:
		err = t.replaced(d)
	case planned && (f.Kind == diff.AddressDiffers || f.Kind == diff.WrongNetwork):
		err = t.address(d)
	case f.Kind == diff.UnknownDevice || f.Kind == diff.NoAddress && !planned:
		err = t.unknown()
	case f.Kind == diff.WrongVLAN || f.Kind == diff.ClassDiffers:
		err = t.port()
	default:
		err = t.nothing()
	}
	if err != nil {
		return Taken{}, fmt.Errorf("%s: %w", f.Key, err)
	}
	return t.out, nil
}

type taker struct {
	plan *inventory.Plan
	snap *inventory.Snapshot
	f    diff.Finding
	name string
	out  Taken
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
	if d.IsPassive() || len(d.Via) > 0 {
		t.out.Note = "its injector's lead may still be live where it hung: find it and label it before anything is plugged in there"
	}
	return nil
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
	d, note := Entry(t.plan, t.snap, &t.snap.Devices[i], t.name)
	t.say(planfile.Add(d), "%s, new: %s", d.Name, d.MACs[0])
	if !d.At.IsZero() {
		t.out.What += " at " + d.At.String()
	}
	t.out.Note = note
	return nil
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
	up, ok := plan.Device(s.Place.Switch)
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
		if slices.Contains(up.Spare, d.At.Port) {
			notes = append(notes, fmt.Sprintf("port %s of %s stands under spare: take it out there", d.At.Port, up.Name))
		}
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
