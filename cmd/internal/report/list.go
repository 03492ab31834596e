package report

import (
	"fmt"
	"io"
	"net/netip"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Findings writes a list of findings as a run does. Hushed has the keys of open
// findings that are quiet, with the reason, be they in the list or not.
func Findings(w io.Writer, fs []diff.Finding, hushed map[string]string, loc *time.Location, style Style) error {
	p := newPage(w, style)
	p.Findings(fs, hushed, loc)
	return p.w.Flush()
}

// Runs writes the latest runs.
func Runs(w io.Writer, rows []store.RunRow, loc *time.Location, style Style) error {
	p := newPage(w, style)
	runsTable(rows, loc).write(p, "")
	return p.w.Flush()
}

func runsTable(rows []store.RunRow, loc *time.Location) *table {
	t := newTable("run", "started", "took", "asked by", "state", "devices", "unknown", "findings")
	for _, r := range rows {
		took, n := dash, []string{dash, dash, dash}
		if !r.Finished.IsZero() {
			took = Took(r.Finished.Sub(r.Started))
		}
		state := r.State
		if r.State == "complete" {
			n = []string{fmt.Sprint(r.Devices), fmt.Sprint(r.Unknown), fmt.Sprint(r.Findings)}
			if r.Settling {
				state = "settling"
			}
		}
		t.row(fmt.Sprint(r.ID), Clock(r.Started, loc), took, r.Asked, state, n[0], n[1], n[2])
	}
	return t
}

type runRowJSON struct {
	ID       int64      `json:"id"`
	Started  *time.Time `json:"started"`
	Finished *time.Time `json:"finished"`
	State    string     `json:"state"`
	Asked    string     `json:"asked_by"`
	Settling bool       `json:"settling"`
	Devices  *int       `json:"devices"`
	Unknown  *int       `json:"unknown"`
	Findings *int       `json:"findings"`
	Why      *string    `json:"why"`
}

// RunsJSON writes the same as JSON.
func RunsJSON(w io.Writer, rows []store.RunRow) error {
	out := []runRowJSON{}
	for _, r := range rows {
		j := runRowJSON{ID: r.ID, Started: at(r.Started), Finished: at(r.Finished), State: r.State, Asked: r.Asked, Settling: r.Settling, Why: text(r.Why)}
		if r.State == "complete" {
			j.Devices, j.Unknown, j.Findings = &r.Devices, &r.Unknown, &r.Findings
		}
		out = append(out, j)
	}
	return write(w, out)
}

// Device writes all that is known of one device of a run.
func Device(w io.Writer, s *inventory.Snapshot, d *inventory.SeenDevice, past store.DeviceRow, fs []diff.Finding, loc *time.Location, style Style) error {
	p := newPage(w, style)
	p.line("%s", style.paint(bold, d.Name))
	p.about(d)
	p.fact("where", whereWords(d.Place, loc))
	if x, ok := s.Port(d.Place.Ref()); ok && d.Place.Among < 2 && d.Presence == inventory.Present {
		p.fact("link", link(x))
		p.fact("power", powerWords(x.Power))
	}
	c := newCensus(s, map[string]store.DeviceRow{d.Name: past})
	p.fact("state", c.state(d))
	p.fact("in stead of", c.standsFor(d))
	p.fact("seen by", strings.Join(d.Witnesses, ", "))
	if d.UpTime != nil {
		p.fact("up for", Ago(d.UpTime.Up)+" ("+d.UpTime.Basis+")")
	}
	if !past.First.IsZero() {
		p.fact("first seen", Clock(past.First, loc))
	}
	if !past.Last.IsZero() {
		p.fact("last seen", Clock(past.Last, loc))
	}
	for _, n := range d.Notes {
		p.fact("note", n)
	}
	p.places(past.Places, loc)
	if len(fs) > 0 {
		p.line("")
		p.Findings(fs, nil, loc)
	}
	return p.w.Flush()
}

// fact writes a name and what there is to say under it, if anything.
func (p *page) fact(name, text string) {
	if text != "" {
		p.hang(fmt.Sprintf("  %-13s ", name), text)
	}
}

// about writes what a device is, and by whose word.
func (p *page) about(d *inventory.SeenDevice) {
	role := string(d.Role)
	if len(d.RoleWhy) > 0 {
		role += "?, since it " + strings.Join(d.RoleWhy, ", ")
	}
	p.fact("role", role)
	if !d.Planned {
		p.fact("plan", "does not name it")
	}
	if d.Hostname != d.Name {
		p.fact("calls itself", d.Hostname)
	}
	switch d.MakerBy {
	case "":
		p.fact("maker", d.Maker)
	case "registry":
		p.fact("maker", d.Maker+", by its MAC address")
	default:
		p.fact("maker", d.Maker+" ("+d.MakerBy+")")
	}
	p.fact("model", d.Product)
	p.fact("serial", d.Serial)
	p.fact("firmware", d.Firmware)
	p.fact("MAC", joinText(d.MACs))
	p.fact("address", joinText(d.Addrs))
	p.fact("outside", joinText(d.Foreign))
	p.fact("network", d.Network)
}

// whereWords says where a device hangs and how that is known.
func whereWords(at inventory.Place, loc *time.Location) string {
	switch {
	case at.IsZero():
		return "not known"
	case at.Basis == inventory.Remembered:
		return at.Ref().String() + ", last seen there " + Clock(at.Seen, loc)
	case at.Basis == inventory.Inferred:
		return "somewhere behind " + at.Ref().String()
	case at.Among > 1:
		return fmt.Sprintf("behind %s, among %d, by %s", at.Ref(), at.Among, at.Basis)
	}
	return fmt.Sprintf("%s, by %s", at.Ref(), at.Basis)
}

// powerWords says what a port delivers, with the basis of each figure.
func powerWords(x *inventory.PortPower) string {
	if x == nil || x.State != inventory.PSEDelivering {
		return ""
	}
	words := "draw unknown"
	if x.Draw != nil {
		words = fmt.Sprintf("draws %s (%s)", x.Draw, x.DrawBasis)
	}
	if x.Limit != nil {
		words += fmt.Sprintf(", limit %s (%s)", x.Limit, x.LimitBasis)
	}
	return words
}

// places writes where a device has hung, the latest first.
func (p *page) places(past []inventory.Place, loc *time.Location) {
	name := "places"
	for i, at := range past {
		if i > 0 && at.Ref() == past[i-1].Ref() { // another of its MACs
			continue
		}
		p.hang(fmt.Sprintf("  %-13s ", name), at.Ref().String()+" until "+Clock(at.Seen, loc))
		name = ""
	}
}

func joinText[T inventory.MAC | netip.Addr](list []T) string {
	words := make([]string, 0, len(list))
	for _, x := range list {
		words = append(words, fmt.Sprint(x))
	}
	return strings.Join(words, ", ")
}

// DeviceJSON writes the same as JSON.
func DeviceJSON(w io.Writer, d *inventory.SeenDevice, past store.DeviceRow, fs []diff.Finding) error {
	return write(w, struct {
		deviceJSON
		Findings []findingJSON `json:"findings"`
	}{deviceOf(d, past), findingsJSON(fs, nil)})
}
