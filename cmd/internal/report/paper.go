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

// Paper writes the plan reckoned through, then what is wrong with it.
func Paper(w io.Writer, site string, s diff.Sheet, fs []diff.Finding, style Style) error {
	p := newPage(w, style)
	p.line("%s", style.paint(bold, site+", on paper"))
	p.line("")
	p.paperPorts(s.Ports)
	p.paperSupplies(s.Supplies)
	for i := range s.Links {
		p.paperLink(&s.Links[i])
	}
	p.paperRest(s)
	if len(fs) == 0 {
		p.line("Nothing in the plan is wrong on paper.")
		return p.w.Flush()
	}
	p.Findings(fs, nil, nil)
	return p.w.Flush()
}

func (p *page) head(title string) {
	p.line("%s", p.style.paint(bold, title))
	p.line("")
}

func (p *page) paperPorts(lines []diff.PortLine) {
	if len(lines) == 0 {
		return
	}
	p.head("What is fed over its cable")
	t := newTable("device", "fed by", "takes", "gets", "loss", "at port", "limit")
	for _, h := range []string{"takes", "gets", "loss", "at port"} {
		t.right[h] = true
	}
	var assumed []string
	var notes []string
	for _, l := range lines {
		from := l.From.String()
		takes := power(l.Most)
		if l.ByClass {
			takes = l.Class.String()
		}
		if l.Assumed {
			assumed = append(assumed, l.Device)
		}
		for _, n := range l.Notes {
			notes = append(notes, l.Device+": "+n)
		}
		t.row(l.Device, from, takes, number(l.Volts, 1, "V"), number(l.Loss, 1, "W"), power(l.AtPort), power(l.Limit))
	}
	t.write(p, "  ")
	p.line("")
	p.wrap("  ", "Takes is the highest draw at the device, gets the volts that arrive there, at port what leaves the port with the cable's loss.")
	if len(assumed) > 0 {
		p.wrap("  ", "Cable not known, reckoned at its worst: "+strings.Join(assumed, ", ")+".")
	}
	for _, n := range notes {
		p.hang("  - ", n)
	}
	p.line("")
}

func (p *page) paperSupplies(lines []diff.SupplyLine) {
	if len(lines) == 0 {
		return
	}
	p.head("What feeds")
	t := newTable("supply", "budget", "guard", "reserved", "drawn at most", "left", "by")
	for _, h := range []string{"guard", "drawn at most", "left"} {
		t.right[h] = true
	}
	var unknown []string
	for _, l := range lines {
		budget := power(l.Budget)
		if l.Computed && l.Budget != 0 {
			budget += "*"
		}
		left := dash
		if l.Budget > 0 {
			left = l.Left.String()
		}
		t.row(l.Device, budget, power(l.Guard), power(l.Reserved), power(l.Drawn), left, orDash(l.Method))
		if len(l.Unknown) > 0 {
			unknown = append(unknown, l.Device+" without "+strings.Join(l.Unknown, ", "))
		}
	}
	t.write(p, "  ")
	p.line("")
	if slices.ContainsFunc(lines, func(l diff.SupplyLine) bool { return l.Computed }) {
		p.wrap("  ", "* what its own feed leaves over.")
	}
	for _, u := range unknown {
		p.hang("  - ", "watts not known, in no sum: "+u)
	}
	p.line("")
}

func (p *page) paperLink(l *diff.LinkLine) {
	p.head("Radio link " + l.Link)
	if l.Problem != "" {
		p.field("", "no figures: "+l.Problem)
		p.line("")
		return
	}
	field := func(name, text string) { p.hang(fmt.Sprintf("  %-18s", name), text) }
	loss := fmt.Sprintf("%.1f dB in free space", l.FreeSpace)
	if l.PathLoss != l.FreeSpace {
		loss += fmt.Sprintf(", %.1f dB with what stands in the way", l.PathLoss)
	}
	field("path", loss)
	clear := fmt.Sprintf("%.1f m at the middle", l.Fresnel)
	if l.Obstacle > 0 {
		clear += fmt.Sprintf(", %.1f m at the obstacle", l.Obstacle)
	}
	field("keep free", clear)
	if l.Levels != [2]float64{} {
		level := fmt.Sprintf("%.0f and %.0f dBm", l.Levels[0], l.Levels[1])
		if l.AirRate > 0 {
			level += fmt.Sprintf(", margin %.0f dB over the best rate", l.Margin)
		}
		field("level expected", level)
	}
	if l.Radiated != [2]float64{} {
		field("radiates", fmt.Sprintf("%.1f and %.1f dBm EIRP", l.Radiated[0], l.Radiated[1]))
	}
	switch {
	case l.AirRate > 0:
		field("carries", fmt.Sprintf("%s of data, both ways together (air rate %s, bounded by %s)", roundRate(l.Usable), roundRate(l.AirRate), l.Bounded))
	case l.Usable > 0:
		field("carries", fmt.Sprintf("at most %s, bounded by the cable side of %s; the air is not known", roundRate(l.Usable), l.Bounded))
	}
	load := roundRate(l.Load)
	if l.AirRate > 0 {
		load += ", " + percent(l.Share, l.Usable > 0) + " of it"
	}
	field("load", load)
	for _, n := range l.Notes {
		p.hang("  - ", n)
	}
	p.line("")
}

func roundRate(r inventory.BitRate) string {
	if r >= 10_000_000 {
		return inventory.BitRate(math.Round(float64(r)/1e6) * 1e6).String()
	}
	return inventory.BitRate(math.Round(float64(r)/1e5) * 1e5).String()
}

func (p *page) paperRest(s diff.Sheet) {
	if len(s.Recordings)+len(s.UPSes) == 0 {
		return
	}
	p.head("Recording and mains")
	for _, r := range s.Recordings {
		text := fmt.Sprintf("%s, %.1f days kept, %.0f GB a day", diff.Plural(r.Cameras, "camera", "cameras"), r.Kept, float64(r.PerDay)/1e9)
		if r.Want > 0 {
			text += fmt.Sprintf("; %.0f days wanted", r.Want)
		}
		if r.More > 0 {
			text += "; " + diff.Plural(r.More, "more camera fits", "more cameras fit")
		}
		if r.Problem != "" {
			text = "no figures: " + r.Problem
		}
		p.hang("  "+r.Recorder+": ", text)
	}
	for _, u := range s.UPSes {
		text := "load not known"
		if u.Load > 0 {
			text = "load " + u.Load.String()
			if u.Summed {
				text += ", summed from the plan"
			}
		}
		if u.Rated > 0 {
			text += ", rated " + u.Rated.String()
		}
		if u.Runtime > 0 {
			text += fmt.Sprintf("; runs about %d min on battery, give or take a third", int(u.Runtime/time.Minute))
		}
		if u.Want > 0 {
			text += fmt.Sprintf("; %d min wanted", int(u.Want/time.Minute))
		}
		if len(u.Unknown) > 0 {
			text += "; without " + strings.Join(u.Unknown, ", ")
		}
		p.hang("  "+u.UPS+": ", text)
	}
	p.line("")
}

func power(w inventory.Power) string {
	if w == 0 {
		return dash
	}
	return w.String()
}

func number(x float64, digits int, unit string) string {
	if x == 0 {
		return dash
	}
	return fmt.Sprintf("%.*f %s", digits, x, unit)
}

// Fit writes whether one more fits, and why.
func Fit(w io.Writer, c diff.Candidate, a diff.Answer, style Style) error {
	p := newPage(w, style)
	verdict := "It fits"
	switch {
	case !a.Known:
		verdict = "The plan cannot tell"
	case !a.Fits:
		verdict = "It does not fit"
	}
	p.line("%s", style.paint(bold, fmt.Sprintf("%s: one more %s at %s.", verdict, c.Role, c.At)))
	p.line("")
	for _, part := range []struct {
		head  string
		lines []string
	}{{"Against it", a.Against}, {"For it", a.For}, {"Caution", a.Caution}} {
		if len(part.lines) == 0 {
			continue
		}
		p.line("%s", part.head)
		for _, l := range part.lines {
			p.hang("  - ", l)
		}
	}
	return p.w.Flush()
}

type fitJSON struct {
	Fits    bool     `json:"fits"`
	Known   bool     `json:"known"`
	Role    string   `json:"role"`
	Where   string   `json:"where"`
	For     []string `json:"for"`
	Against []string `json:"against"`
	Caution []string `json:"caution"`
}

// FitJSON writes the same as JSON.
func FitJSON(w io.Writer, c diff.Candidate, a diff.Answer) error {
	list := func(s []string) []string { return append([]string{}, s...) }
	return write(w, fitJSON{a.Fits, a.Known, string(c.Role), c.At.String(), list(a.For), list(a.Against), list(a.Caution)})
}
