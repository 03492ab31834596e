package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
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

func supplyCells(s *inventory.SupplyState, several bool) []string {
	load, basis := s.Load()
	name := s.Switch
	if several {
		name += " supply " + s.Supply
	}
	known := string(basis)
	if s.Used != nil {
		known = "reported"
	} else if s.Unknown > 0 {
		known = diff.Plural(s.Unknown, "port unknown", "ports unknown")
	}
	share, ok := s.Share()
	return []string{name, watts(load), orDash(known), watts(s.Reserved), watts(s.Budget), percent(share, ok)}
}

const peakNote = "Peak is the highest draw measured in the last seven days, with its time. An unknown draw stays unknown: a class is a ceiling."

// Ports writes the ports of a run, a table for each switch or only for one, with
// this week's highest draw.
func Ports(w io.Writer, s *inventory.Snapshot, h *inventory.History, only string, style Style) error {
	p := newPage(w, style)
	var nights []string
	for _, name := range portedSwitches(s) {
		if only != "" && name != only {
			continue
		}
		p.line("%s", style.paint(bold, name))
		t, unlit := portsTable(s, h, name)
		t.spare = []string{"share", "link"}
		t.dropEmpty()
		t.write(p, "  ")
		p.line("")
		nights = append(nights, unlit...)
	}
	p.wrap("", peakNote)
	if len(nights) > 0 {
		p.wrap("", "No night sample yet: "+strings.Join(nights, ", ")+". Lamps and heaters draw most then.")
	}
	return p.w.Flush()
}

// portedSwitches names the switches whose ports a run saw, in its order.
func portedSwitches(s *inventory.Snapshot) []string {
	var out []string
	for i := range s.Ports {
		if name := s.Ports[i].Switch; !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// portsTable lists the ports of a switch, and those of them that no night sample
// was taken of.
func portsTable(s *inventory.Snapshot, h *inventory.History, of string) (t *table, nights []string) {
	t = newTable("port", "link", "device", "draws", "limit", "share", "peak")
	for i := range s.Ports {
		if x := &s.Ports[i]; x.Switch == of {
			t.row(portCells(x, h, &nights)...)
		}
	}
	return t, nights
}

func portCells(x *inventory.PortState, h *inventory.History, nights *[]string) []string {
	ref := inventory.PortRef{Device: x.Switch, Port: x.Port}
	row := []string{x.Port, link(x), orDash(inventory.CleanTo(portDevice(x), 24)), dash, dash, dash, dash}
	pw := x.Power
	switch {
	case pw == nil:
		return row
	case pw.State != inventory.PSEDelivering:
		row[3] = string(pw.State)
		return row
	}
	row[3] = "unknown"
	if pw.Draw != nil {
		row[3] = fmt.Sprintf("%s %s", pw.Draw, pw.DrawBasis)
	}
	row[4] = watts(pw.Limit)
	if n, ok := pw.Class.Number(); ok {
		row[4] = fmt.Sprintf("%s class %d", row[4], n)
	}
	row[5] = percent(pw.Share())
	if peak, night, ok := weekPeak(h.Peaks[ref], h.Previous); ok {
		row[6] = fmt.Sprintf("%s %s", peak.Draw, peak.At.In(peak.Day.Location()).Format("Mon 15:04"))
		if !night {
			*nights = append(*nights, ref.String())
		}
	}
	return row
}

// portDevice names who is on a port: the planned one first, where there are several.
func portDevice(x *inventory.PortState) string {
	if len(x.Seen) > 1 {
		first := x.Seen[0]
		for _, name := range x.Planned {
			if slices.Contains(x.Seen, name) {
				first = name
				break
			}
		}
		return fmt.Sprintf("%s +%d", first, len(x.Seen)-1)
	}
	switch {
	case len(x.Seen) == 1:
		return x.Seen[0]
	case x.Uplink && len(x.Neighbors) > 0:
		return "uplink to " + x.Neighbors[0]
	case x.Uplink:
		return "uplink, " + diff.Plural(x.MACCount, "MAC", "MACs")
	}
	return ""
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
		j := portJSON{Switch: x.Switch, Port: x.Port, Interface: text(x.Interface), Devices: append([]string{}, x.Seen...),
			Planned: append([]string{}, x.Planned...)}
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
