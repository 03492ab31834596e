package store

import (
	"net/netip"
	"slices"
	"strings"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// readFrom names the tables of a switch that findings of a kind are read off,
// so that silence about them says nothing of the finding.
var readFrom = map[diff.Kind][]string{
	diff.PortPowerNear:   {inventory.TablePSE},
	diff.PortPowerOver:   {inventory.TablePSE},
	diff.PowerDenied:     {inventory.TablePSE},
	diff.PowerFaults:     {inventory.TablePSE},
	diff.NotPowered:      {inventory.TablePSE},
	diff.PowerToPassive:  {inventory.TablePSE},
	diff.ClassDiffers:    {inventory.TablePSE},
	diff.SupplyPowerNear: {inventory.TablePSE, inventory.TableUPS},
	diff.SupplyPowerOver: {inventory.TablePSE, inventory.TableUPS},
	diff.SupplyReserved:  {inventory.TablePSE},
	diff.LinkSlow:        {inventory.TableInterfaces, inventory.TableEther},
	diff.HalfDuplex:      {inventory.TableEther},
	diff.LinkErrors:      {inventory.TableInterfaces, inventory.TableEther},
	diff.LinkDown:        {inventory.TableInterfaces},
	diff.LinkLoadNear:    {inventory.TableInterfaces},
	diff.WrongVLAN:       {inventory.TableVLAN, inventory.TableBridge},
	diff.UPSOnBattery:    {inventory.TableUPS},
	diff.UPSBattery:      {inventory.TableUPS},
	diff.RecordingShort:  {inventory.TableHost},
	diff.RadioLevelLow:   {inventory.TableObjects},
	diff.Restarted:       {inventory.TableSystem},
	diff.FirmwareChanged: {inventory.TableEntity},
	diff.PortsRenumbered: {inventory.TableInterfaces},
	diff.WeakSNMP:        nil,
}

// stillUnknown keeps a finding open whose subject this run could not look at:
// not looked is not mended. A settling run mends nothing that may only not be up yet.
func (w *runWriter) stillUnknown(f diff.Finding) (bool, error) {
	if w.settling && f.Kind.OfAbsence() {
		return true, nil
	}
	device, _, _ := strings.Cut(f.Subject, "/")
	device, _, _ = strings.Cut(device, " supply ")
	d, seen := w.snap.Device(device)
	if seen && d.Planned && d.Presence == inventory.NotLooked {
		return true, nil
	}
	if tables, ok := readFrom[f.Kind]; ok {
		return w.silent(device, tables), nil
	}
	switch f.Kind {
	case diff.MovedDevice: // where it is now is known only while a switch has just learned it
		return seen && d.Presence == inventory.Present && d.Place.Basis != inventory.ByFDB && d.Place.Basis != inventory.ByLLDP, nil
	case diff.UnknownDevice, diff.NoAddress:
		return w.outOfSight(f)
	case diff.AddressConflict:
		a, err := netip.ParseAddr(f.Subject)
		return err == nil && !w.sweptNetwork(a), nil
	case diff.ProxyARP, diff.SecondDHCPServer:
		return !w.sweptAll(), nil
	case diff.WrongNetwork: // a network that the plan lacks, as the agents tell
		_, err := netip.ParsePrefix(f.Subject)
		return err == nil && slices.ContainsFunc(w.snap.Agents,
			func(a inventory.AgentState) bool { return w.silent(a.Device, []string{inventory.TableNeighbors}) }), nil
	case diff.ChangingMACDevices:
		return !w.swept(f.Subject), nil
	}
	return false, nil
}

// silent reports whether the agent, or one of its tables, was asked and did not
// tell all.
func (w *runWriter) silent(device string, tables []string) bool {
	a, ok := w.snap.Agent(device)
	if !ok {
		return false
	}
	if len(a.Tables) == 0 && noWord(a.Result) {
		return true
	}
	for _, t := range tables {
		if noWord(a.Tables[t]) {
			return true
		}
	}
	return false
}

func noWord(r inventory.Result) bool {
	return r == inventory.NoAnswer || r == inventory.Refused || r == inventory.Partial
}

// outOfSight reports whether an unplanned device is not in this run for the lack
// of a look: neither its network was looked at to the end nor its switch told all
// the addresses it has learned.
func (w *runWriter) outOfSight(f diff.Finding) (bool, error) {
	blind := false
	for _, m := range f.MACs {
		for _, d := range w.snap.Devices {
			if slices.Contains(d.MACs, m) {
				return false, nil // it was seen, and is no longer what it was
			}
		}
		var addrs []netip.Addr
		err := query(w.ctx, w.tx, `SELECT addr FROM addresses WHERE mac = ? ORDER BY last DESC LIMIT 1`, []any{m.String()}, func(scan func(...any) error) error {
			var text string
			if err := scan(&text); err != nil {
				return err
			}
			a, err := netip.ParseAddr(text)
			addrs = append(addrs, a)
			return err
		})
		if err != nil {
			return false, err
		}
		for _, a := range addrs {
			if w.sweptNetwork(a) {
				return false, nil
			}
			blind = true
		}
	}
	sw, _, placed := strings.Cut(f.Where, "/")
	if a, ok := w.snap.Agent(sw); placed && ok {
		if a.Tables[inventory.TableFDB] == inventory.Complete {
			return false, nil
		}
		blind = true
	}
	return blind, nil
}

// sweptNetwork reports whether the network of the address was looked at to its
// end. An address outside the plan's networks is nobody's to look for.
func (w *runWriter) sweptNetwork(a netip.Addr) bool {
	n, ok := w.plan.NetworkOf(a)
	return !ok || w.swept(n.Name)
}

func (w *runWriter) swept(network string) bool {
	for _, n := range w.snap.Networks {
		if n.Name == network {
			return n.Looked == inventory.Complete
		}
	}
	return true // no longer in the plan
}

// sweptAll reports whether no sweep of this run fell short; networks that this
// machine is not attached to are never swept.
func (w *runWriter) sweptAll() bool {
	for _, n := range w.snap.Networks {
		p, ok := w.plan.NetworkNamed(n.Name)
		if ok && p.Unknown != inventory.UnknownCount && n.How == inventory.SourceARP && n.Looked != inventory.Complete {
			return false
		}
	}
	return true
}
