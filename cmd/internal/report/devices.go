package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Devices writes the devices of a run, each with what it is and how that is
// known, and what the logbook remembers of it.
func Devices(w io.Writer, s *inventory.Snapshot, past map[string]store.DeviceRow, loc *time.Location, style Style) error {
	p := newPage(w, style)
	t := newTable("device", "role", "state", "where")
	t.spare = []string{"role"}
	c, silent := newCensus(s, past), false
	for i := range s.Devices {
		d := &s.Devices[i]
		if d.Private && d.BehindAP {
			continue
		}
		state := c.state(d)
		silent = silent || state == "silent" || state == "dark"
		t.row(deviceName(d), orDash(role(d)), state, c.where(d))
		t.below(strings.Join(c.particulars(d, loc), "; "))
	}
	t.write(p, "")
	p.line("")
	p.wrap("", present(s.Headcount())+counted(s)+".")
	if silent {
		p.wrap("", "Silent means that a device has no address of its own and never shows itself; it is dark where nothing behind it answers.")
	}
	for _, c := range s.Capped {
		p.wrap("", c+".")
	}
	return p.w.Flush()
}

// counted says how many devices are only counted.
func counted(s *inventory.Snapshot) string {
	var line string
	if n := s.Headcount().Private; n > 0 {
		line = fmt.Sprintf(", %s on Wi-Fi", diff.Plural(n, "private device", "private devices"))
	}
	for _, n := range s.Networks {
		if n.Counted > 0 {
			line += fmt.Sprintf("; %d on %s, only counted", n.Counted, n.Name)
		}
	}
	return line
}

// devicesTable is the same with a column for each thing, for a wide page.
func devicesTable(s *inventory.Snapshot, past map[string]store.DeviceRow) *table {
	t := newTable("device", "role", "state", "where", "make", "address", "MAC")
	c := newCensus(s, past)
	for i := range s.Devices {
		d := &s.Devices[i]
		if d.Private && d.BehindAP {
			continue
		}
		t.row(deviceName(d), orDash(role(d)), c.state(d), c.where(d), orDash(makeOf(d)), orDash(joinText(d.Addrs)), orDash(joinText(d.MACs)))
	}
	return t
}

// A census is what the lines of single devices take from the whole snapshot.
type census struct {
	past    map[string]store.DeviceRow
	dark    map[string]bool
	meant   map[string]inventory.PortRef // where the plan hangs what nobody has seen
	inStead map[inventory.MAC]string     // of a planned device
}

func newCensus(s *inventory.Snapshot, past map[string]store.DeviceRow) census {
	c := census{past: past, dark: s.Dark(), meant: map[string]inventory.PortRef{}, inStead: map[inventory.MAC]string{}}
	for _, e := range s.Edges {
		if e.Basis == inventory.Planned {
			c.meant[e.Child] = inventory.PortRef{Device: e.Parent, Port: e.Port}
		}
	}
	for i := range s.Devices {
		for _, m := range s.Devices[i].Claimed {
			c.inStead[m] = s.Devices[i].Name
		}
	}
	return c
}

// standsFor is the planned device in whose stead an unknown one was found.
func (c census) standsFor(d *inventory.SeenDevice) string {
	for _, m := range d.MACs {
		if name := c.inStead[m]; name != "" && !d.Planned {
			return name
		}
	}
	return ""
}

// where is a device's port, with what is to be known of how sure that is.
func (c census) where(d *inventory.SeenDevice) string {
	p := d.Place
	s := p.Ref().String()
	switch at := c.meant[d.Name]; {
	case p.IsZero() && at.IsZero():
		return dash
	case p.IsZero():
		return at.String() + " (planned)"
	case p.Basis == inventory.Remembered:
		return s + " (last seen)"
	case p.Basis == inventory.Inferred:
		return "behind " + s
	case p.Among > 1:
		return s + fmt.Sprintf(" (among %d)", p.Among)
	}
	return s
}

// state is a device's presence in a word or two.
func (c census) state(d *inventory.SeenDevice) string {
	switch {
	case d.Self && !d.Planned:
		return "this machine"
	case c.standsFor(d) != "":
		return "stand-in"
	case d.Presence == inventory.Present && !d.Planned:
		return "unknown"
	case d.Presence == inventory.Present:
		return "there"
	case c.dark[d.Name]:
		return "dark"
	case d.Presence == inventory.Unseeable:
		return "silent"
	case d.Presence != inventory.Absent:
		return "not looked at"
	case c.past[d.Name].Last.IsZero() && !d.Away && !d.Role.Roams():
		return "never seen"
	}
	return absence(d)
}

// particulars are what is known of a device beside its line.
func (c census) particulars(d *inventory.SeenDevice, loc *time.Location) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if name := c.standsFor(d); name != "" {
		say("in the stead of %s", name)
	}
	if m := makeOf(d); m != "" {
		say("%s", m)
	}
	if d.Hostname != "" && d.Hostname != d.Name {
		say("calls itself %s", d.Hostname)
	}
	if len(d.Addrs) > 0 {
		say("%s", joinText(d.Addrs))
	}
	if len(d.Foreign) > 0 {
		say("%s (outside the plan's networks)", joinText(d.Foreign))
	}
	if len(d.MACs) > 0 {
		say("%s%s", joinText(d.MACs), byRegistry(d))
	}
	if len(d.RoleWhy) > 0 {
		say("taken for a %s, since it %s", d.Role, strings.Join(d.RoleWhy, ", "))
	}
	if last := c.past[d.Name].Last; len(d.Witnesses) > 0 {
		say("seen by %s", seenBy(d))
	} else if !last.IsZero() && d.Presence != inventory.Present {
		say("last seen %s", Clock(last, loc))
	}
	return append(out, d.Notes...)
}

// seenBy names the sources that saw a device, and which of them tells its port.
func seenBy(d *inventory.SeenDevice) string {
	words := slices.Clone(d.Witnesses)
	if i := slices.Index(words, string(d.Place.Basis)); i >= 0 {
		words[i] += " (its port)"
	}
	return strings.Join(words, ", ")
}

// makeOf is maker, model, firmware and serial number, as the device tells them or
// the plan has them.
func makeOf(d *inventory.SeenDevice) string {
	var parts []string
	maker := d.Maker
	if d.MakerBy == "registry" {
		maker = "" // that of the address; it stands there
	}
	if m := strings.TrimSpace(maker + " " + d.Product); m != "" {
		parts = append(parts, m)
	}
	if d.Firmware != "" {
		parts = append(parts, "firmware "+d.Firmware)
	}
	if d.Serial != "" {
		parts = append(parts, "serial "+d.Serial)
	}
	return strings.Join(parts, ", ")
}

// byRegistry is whom the registry assigned the device's address to.
func byRegistry(d *inventory.SeenDevice) string {
	if d.MakerBy != "registry" || d.Maker == "" {
		return ""
	}
	return " (" + d.Maker + ")"
}

// role is the plan's, or a guess with a question mark.
func role(d *inventory.SeenDevice) string {
	if len(d.RoleWhy) > 0 {
		return string(d.Role) + "?"
	}
	return string(d.Role)
}

func deviceName(d *inventory.SeenDevice) string {
	if d.Planned || d.Hostname == "" {
		return d.Name
	}
	return inventory.CleanTo(d.Hostname, 20) + "?"
}

// absence names what it means that a device is not there.
func absence(d *inventory.SeenDevice) string {
	switch {
	case d.Away:
		return "away"
	case d.Role.Roams():
		return "not here"
	}
	return "missing"
}

type deviceJSON struct {
	Name       string     `json:"name"`
	Role       *string    `json:"role"`
	Planned    bool       `json:"planned"`
	MACs       []string   `json:"macs"`
	Addresses  []string   `json:"addresses"`
	Vendor     *string    `json:"vendor"`
	VendorBy   *string    `json:"vendor_by"`
	Model      *string    `json:"model"`
	Firmware   *string    `json:"firmware"`
	Serial     *string    `json:"serial"`
	Hostname   *string    `json:"hostname"`
	Network    *string    `json:"network"`
	Presence   string     `json:"presence"`
	Where      *string    `json:"where"`
	WhereBasis *string    `json:"where_basis"`
	WhereAmong *int       `json:"where_among"`
	UptimeS    *int64     `json:"uptime_s"`
	FirstSeen  *time.Time `json:"first_seen"`
	LastSeen   *time.Time `json:"last_seen"`
	SeenBy     []string   `json:"seen_by"`
	RoleWhy    []string   `json:"role_why"`
	Notes      []string   `json:"notes"`
}

// DevicesJSON writes the same by the contract.
func DevicesJSON(w io.Writer, s *inventory.Snapshot, past map[string]store.DeviceRow) error {
	out := []deviceJSON{}
	for i := range s.Devices {
		out = append(out, deviceOf(&s.Devices[i], past[s.Devices[i].Name]))
	}
	return write(w, out)
}

func deviceOf(d *inventory.SeenDevice, past store.DeviceRow) deviceJSON {
	j := deviceJSON{Name: d.Name, Role: text(d.Role), Planned: d.Planned, MACs: []string{}, Addresses: []string{}, Vendor: text(d.Maker),
		VendorBy: text(d.MakerBy), Model: text(d.Product),
		Firmware: text(d.Firmware), Serial: text(d.Serial), Hostname: text(d.Hostname), Network: text(d.Network), Presence: string(d.Presence),
		Where: text(d.Place.Ref().String()), WhereBasis: text(d.Place.Basis), FirstSeen: at(past.First), LastSeen: at(past.Last),
		SeenBy: append([]string{}, d.Witnesses...), RoleWhy: append([]string{}, d.RoleWhy...), Notes: append([]string{}, d.Notes...)}
	for _, m := range d.MACs {
		j.MACs = append(j.MACs, m.String())
	}
	for _, ip := range slices.Concat(d.Addrs, d.Foreign) {
		j.Addresses = append(j.Addresses, ip.String())
	}
	if d.Place.Among > 1 {
		j.WhereAmong = &d.Place.Among
	}
	if d.UpTime != nil {
		secs := int64(d.UpTime.Up / time.Second)
		j.UptimeS = &secs
	}
	return j
}
