package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"
)

const dash = "-"

func orDash(s string) string {
	if s == "" {
		return dash
	}
	return s
}

func watts(p *inventory.Power) string {
	if p == nil {
		return dash
	}
	return p.String()
}

func percent(share float64, ok bool) string {
	if !ok {
		return dash
	}
	return fmt.Sprintf("%d %%", int(math.Round(share*100)))
}

func supplyCells(s *inventory.SupplyState) []string {
	load, basis := s.Load()
	name := s.Switch
	if s.Supply != "1" {
		name += " supply " + s.Supply
	}
	known := string(basis)
	if s.Used != nil {
		known = "reported"
	} else if s.Unknown > 0 {
		known = plural(s.Unknown, "port unknown", "ports unknown")
	}
	share, ok := s.Share()
	return []string{name, watts(load), orDash(known), watts(s.Reserved), watts(s.Budget), percent(share, ok)}
}

// Devices writes the devices of a run with what the logbook remembers of them.
func Devices(w io.Writer, s *inventory.Snapshot, past map[string]store.DeviceRow, style Style) error {
	p := newPage(w, style)
	devicesTable(s, past).write(p, "")
	return p.w.Flush()
}

func devicesTable(s *inventory.Snapshot, past map[string]store.DeviceRow) *table {
	t := newTable("device", "role", "address", "MAC", "where", "state")
	t.spare = []string{"MAC", "role"}
	for i := range s.Devices {
		d := &s.Devices[i]
		if d.Private && d.BehindAP {
			continue
		}
		t.row(deviceName(d), orDash(string(d.Role)), orDash(firstAddr(d)), orDash(firstMAC(d)), where(d.Place), presence(d, past[d.Name], s.Finished))
	}
	return t
}

func deviceName(d *inventory.SeenDevice) string {
	if d.Planned || d.Hostname == "" {
		return d.Name
	}
	return inventory.CleanTo(d.Hostname, 20) + "?"
}

func firstAddr(d *inventory.SeenDevice) string {
	if len(d.Addrs) > 0 {
		return d.Addrs[0].String()
	}
	if len(d.Foreign) > 0 {
		return d.Foreign[0].String() + " (outside)"
	}
	return ""
}

func firstMAC(d *inventory.SeenDevice) string {
	if len(d.MACs) == 0 {
		return ""
	}
	s := d.MACs[0].String()
	if len(d.MACs) > 1 {
		s += fmt.Sprintf(" +%d", len(d.MACs)-1)
	}
	return s
}

func where(p inventory.Place) string {
	if p.IsZero() {
		return dash
	}
	s := p.Ref().String()
	switch {
	case p.Basis == inventory.Remembered:
		s += " (last seen there)"
	case p.Among > 1:
		s += fmt.Sprintf(" (among %d)", p.Among)
	}
	return s
}

func presence(d *inventory.SeenDevice, past store.DeviceRow, now time.Time) string {
	switch d.Presence {
	case inventory.Present:
		return "there"
	case inventory.Absent:
		if d.Away || d.Role.Roams() {
			return absence(d)
		}
		if past.Last.IsZero() {
			return "never seen"
		}
		return "gone for " + Ago(now.Sub(past.Last))
	case inventory.Unseeable:
		return "not on the network"
	}
	return "not looked at"
}

// absence names what it means that a device is not there.
func absence(d *inventory.SeenDevice) string {
	switch {
	case d.Away:
		return "away, as planned"
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
	j := deviceJSON{Name: d.Name, Role: text(d.Role), Planned: d.Planned, MACs: []string{}, Addresses: []string{}, Vendor: text(d.Maker), Model: text(d.Product),
		Firmware: text(d.Firmware), Serial: text(d.Serial), Hostname: text(d.Hostname), Network: text(d.Network), Presence: string(d.Presence),
		Where: text(d.Place.Ref().String()), WhereBasis: text(d.Place.Basis), FirstSeen: at(past.First), LastSeen: at(past.Last),
		RoleWhy: append([]string{}, d.RoleWhy...), Notes: append([]string{}, d.Notes...)}
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

const peakNote = "Peak is the highest draw measured in the last seven days, with its time. An unknown draw stays unknown: a class is a ceiling."

// Ports writes the ports of a run with this week's highest draw.
func Ports(w io.Writer, s *inventory.Snapshot, h *inventory.History, only string, style Style) error {
	p := newPage(w, style)
	t, nights := portsTable(s, h, only)
	t.write(p, "")
	p.line("")
	p.wrap("", peakNote)
	if len(nights) > 0 {
		p.wrap("", "No night sample yet: "+strings.Join(nights, ", ")+". Lamps and heaters draw most then.")
	}
	return p.w.Flush()
}

// portsTable lists the ports of a switch, or of all, and those of them that no
// night sample was taken of.
func portsTable(s *inventory.Snapshot, h *inventory.History, only string) (t *table, nights []string) {
	t = newTable("port", "link", "device", "power", "draws", "known by", "limit", "share", "peak")
	t.spare = []string{"share", "link", "power"}
	for i := range s.Ports {
		if x := &s.Ports[i]; only == "" || x.Switch == only {
			t.row(portCells(x, h, &nights)...)
		}
	}
	return t, nights
}

func portCells(x *inventory.PortState, h *inventory.History, nights *[]string) []string {
	ref := inventory.PortRef{Device: x.Switch, Port: x.Port}
	device := strings.Join(x.Seen, ", ")
	switch {
	case x.Uplink && len(x.Seen) != 1:
		device = fmt.Sprintf("uplink, %s", plural(x.MACCount, "MAC", "MACs"))
		if len(x.Neighbors) > 0 {
			device = "uplink to " + x.Neighbors[0]
		}
	case len(x.Seen) > 2:
		device = fmt.Sprintf("%d devices", len(x.Seen))
	}
	row := []string{ref.String(), link(x), orDash(inventory.CleanTo(device, 24)), dash, dash, dash, dash, dash, dash}
	pw := x.Power
	if pw == nil {
		return row
	}
	row[3] = string(pw.State)
	if n, ok := pw.Class.Number(); ok && pw.State == inventory.PSEDelivering {
		row[3] = fmt.Sprintf("class %d", n)
	}
	if pw.State != inventory.PSEDelivering {
		return row
	}
	row[4], row[5] = watts(pw.Draw), orDash(string(pw.DrawBasis))
	if pw.Draw == nil {
		row[4] = "unknown"
	}
	row[6] = watts(pw.Limit)
	row[7] = percent(pw.Share())
	if peak, night, ok := weekPeak(h.Peaks[ref], h.Previous); ok {
		row[8] = fmt.Sprintf("%s %s", peak.Draw, peak.At.In(peak.Day.Location()).Format("Mon 15:04"))
		if !night {
			*nights = append(*nights, ref.String())
		}
	}
	return row
}

func weekPeak(peaks []inventory.Peak, last *inventory.Snapshot) (best inventory.Peak, night, ok bool) {
	if last == nil {
		return best, false, false
	}
	for _, k := range peaks {
		if last.Finished.Sub(k.Day) > 8*24*time.Hour {
			continue
		}
		night = night || k.Night
		if !ok || k.Draw > best.Draw {
			best, ok = k, true
		}
	}
	return best, night, ok
}

func link(x *inventory.PortState) string {
	switch {
	case x.AdminUp != nil && !*x.AdminUp:
		return "off"
	case x.Up == nil:
		return "unknown"
	case !*x.Up:
		return "down"
	case x.Speed == 0:
		return "up"
	}
	s := x.Speed.String()
	if x.HalfDuplex != nil && *x.HalfDuplex {
		s += " half"
	}
	return s
}

type portJSON struct {
	Switch    string     `json:"switch"`
	Port      string     `json:"port"`
	Interface *string    `json:"interface"`
	Link      *string    `json:"link"`
	SpeedMbps *float64   `json:"speed_mbps"`
	Device    *string    `json:"device"`
	Devices   []string   `json:"devices"`
	Planned   []string   `json:"planned"`
	VLAN      *int       `json:"vlan"`
	Power     *powerJSON `json:"power"`
}

type powerJSON struct {
	State      string     `json:"state"`
	Class      *int       `json:"class"`
	DrawW      *float64   `json:"draw_w"`
	DrawBasis  *string    `json:"draw_basis"`
	DrawSource *string    `json:"draw_source"`
	LimitW     *float64   `json:"limit_w"`
	LimitBasis *string    `json:"limit_basis"`
	Share      *float64   `json:"share"`
	MappedBy   string     `json:"mapped_by"`
	Sure       string     `json:"mapped_sure"`
	PeakW      *float64   `json:"peak_w"`
	PeakAt     *time.Time `json:"peak_at"`
	NightSeen  *bool      `json:"night_seen"`
}

// PortsJSON writes the same by the contract.
func PortsJSON(w io.Writer, s *inventory.Snapshot, h *inventory.History, only string) error {
	out := []portJSON{}
	for i := range s.Ports {
		x := &s.Ports[i]
		if only != "" && x.Switch != only {
			continue
		}
		j := portJSON{Switch: x.Switch, Port: x.Port, Interface: text(x.Interface), Devices: append([]string{}, x.Seen...), Planned: append([]string{}, x.Planned...)}
		switch l := link(x); {
		case x.Up != nil && *x.Up:
			l = "up"
			j.Link = &l
		case l != "unknown":
			j.Link = &l
		}
		if x.Speed > 0 {
			m := x.Speed.Mbit()
			j.SpeedMbps = &m
		}
		if len(x.Seen) == 1 {
			j.Device = &x.Seen[0]
		}
		if x.VLANKnown && x.VLAN != 0 {
			j.VLAN = &x.VLAN
		}
		j.Power = powerOf(x, h)
		out = append(out, j)
	}
	return write(w, out)
}

func powerOf(x *inventory.PortState, h *inventory.History) *powerJSON {
	pw := x.Power
	if pw == nil {
		return nil
	}
	j := &powerJSON{State: string(pw.State), DrawW: wattsJSON(pw.Draw), DrawBasis: text(pw.DrawBasis), DrawSource: text(pw.DrawSource),
		LimitW: wattsJSON(pw.Limit), LimitBasis: text(pw.LimitBasis), MappedBy: pw.MappedBy, Sure: pw.Sure}
	if n, ok := pw.Class.Number(); ok {
		j.Class = &n
	}
	if s, ok := pw.Share(); ok {
		s = math.Round(s*1000) / 1000
		j.Share = &s
	}
	if peak, night, ok := weekPeak(h.Peaks[inventory.PortRef{Device: x.Switch, Port: x.Port}], h.Previous); ok {
		j.PeakW, j.PeakAt, j.NightSeen = wattsJSON(&peak.Draw), at(peak.At), &night
	}
	return j
}

func wattsJSON(p *inventory.Power) *float64 {
	if p == nil {
		return nil
	}
	w := p.Watts()
	return &w
}
