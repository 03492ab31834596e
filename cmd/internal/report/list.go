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

// Findings writes a list of findings as a run does.
func Findings(w io.Writer, fs []diff.Finding, loc *time.Location, style Style) error {
	p := newPage(w, style)
	p.Findings(fs, loc)
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

// Device writes all that is known of one device.
func Device(w io.Writer, d *inventory.SeenDevice, past store.DeviceRow, fs []diff.Finding, loc *time.Location, style Style) error {
	p := newPage(w, style)
	p.line("%s", style.paint(bold, d.Name))
	field := func(name, text string) {
		if text != "" {
			p.hang(fmt.Sprintf("  %-12s", name), text)
		}
	}
	role := string(d.Role)
	if len(d.RoleWhy) > 0 {
		role += ", a guess: " + strings.Join(d.RoleWhy, "; ")
	}
	field("role", role)
	if !d.Planned {
		field("plan", "no plan names it")
	}
	field("calls itself", d.Hostname)
	maker := d.Maker
	if d.MakerBy != "" {
		maker += " (" + d.MakerBy + ")"
	}
	field("maker", maker)
	field("model", d.Product)
	field("serial", d.Serial)
	field("firmware", d.Firmware)
	field("MAC", joinText(d.MACs))
	field("address", joinText(d.Addrs))
	field("outside", joinText(d.Foreign))
	field("network", d.Network)
	place := where(d.Place)
	if !d.Place.IsZero() {
		place += ", known by " + string(d.Place.Basis)
	}
	field("where", place)
	field("state", presence(d, past, time.Now()))
	field("seen by", strings.Join(d.Witnesses, ", "))
	if d.UpTime != nil {
		field("up for", Ago(d.UpTime.Up)+" ("+d.UpTime.Basis+")")
	}
	if !past.First.IsZero() {
		field("first seen", Clock(past.First, loc))
	}
	if !past.Last.IsZero() {
		field("last seen", Clock(past.Last, loc))
	}
	for _, n := range d.Notes {
		field("note", n)
	}
	for i, pl := range past.Places {
		name := ""
		if i == 0 {
			name = "places"
		}
		p.hang(fmt.Sprintf("  %-12s", name), pl.Ref().String()+" until "+Clock(pl.Seen, loc))
	}
	if len(fs) > 0 {
		p.line("")
		p.Findings(fs, loc)
	}
	return p.w.Flush()
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
