package diff

import (
	"fmt"
	"slices"
	"strings"

	"boundwalk/inventory"
	"boundwalk/inventory/radio"
	"boundwalk/inventory/video"
)

// linkPaper is one planned radio link with what package radio makes of it.
type linkPaper struct {
	plan   *inventory.RadioLink
	link   radio.Link
	paper  radio.Paper
	levels bool // the plan says what is radiated
	err    error
}

const usualWidth = 20 // MHz

func (p *paper) linkPapers() []linkPaper {
	out := make([]linkPaper, 0, len(p.plan.Links))
	for i := range p.plan.Links {
		out = append(out, p.linkOnPaper(&p.plan.Links[i]))
	}
	return out
}

func (p *paper) linkOnPaper(l *inventory.RadioLink) linkPaper {
	lp := linkPaper{plan: l, levels: l.TxPower != 0 || l.Gain != [2]float64{}}
	r := radio.Link{Distance: radio.Metres(l.Distance), Channel: radio.Channel{Centre: radio.MHz(l.Frequency), Width: usualWidth},
		Obstacle: radio.Metres(l.Obstacle), Clearance: radio.Metres(l.Clearance), Load: radio.BitRate(p.linkLoad(l)), Near: p.near.LinkShare,
		Outdoor: len(l.Through) == 0}
	if l.Width > 0 {
		r.Channel.Width = radio.MHz(l.Width)
	}
	if lp.levels {
		r.Mode = radio.Mode{Standard: radio.Standard(l.Standard), Streams: l.Streams}
	}
	if l.EIRPLimit != nil {
		limit := radio.DBm(*l.EIRPLimit)
		r.Limit = &limit
	}
	for k := range r.Ends {
		r.Ends[k] = radio.Station{Name: l.Between[k], Power: radio.DBm(l.TxPower), Gain: radio.DBi(l.Gain[k]), Feeder: radio.DB(l.Feeder),
			Port: radio.BitRate(l.PortSpeed[k])}
	}
	for _, text := range l.Through {
		w, err := radio.ParseWall(text)
		if err != nil {
			lp.err = err
			return lp
		}
		r.Walls = append(r.Walls, w)
	}
	lp.link = r
	lp.paper, lp.err = r.Paper()
	return lp
}

// carries is what the link carries of data on paper: by the air where its rate is
// known, else by its slower cable side alone; zero: neither is known.
func (l linkPaper) carries() (inventory.BitRate, string) {
	if l.paper.Usable > 0 {
		return inventory.BitRate(l.paper.Usable), l.paper.Bounded
	}
	if l.levels && l.plan.Standard != "" {
		return 0, ""
	}
	var least inventory.BitRate
	by := ""
	for k, s := range l.plan.PortSpeed {
		if u := inventory.BitRate(video.PortUsable(video.BitRate(s))); u > 0 && (least == 0 || u < least) {
			least, by = u, l.plan.Between[k]
		}
	}
	return least, by
}

// linkLoad is what the link is to carry: what the plan states, and no less than the
// streams of the cameras that reach their recorder over it.
func (p *paper) linkLoad(l *inventory.RadioLink) inventory.BitRate {
	return max(l.Needs, p.streamsOver(l)+l.Others)
}

// streamsOver sums the streams that cross the link, overhead included.
func (a *auditor) streamsOver(l *inventory.RadioLink) inventory.BitRate {
	var streams []video.Stream
	for i := range a.plan.Devices {
		if d := &a.plan.Devices[i]; d.Stream > 0 && a.crosses(d, l) {
			streams = append(streams, video.Stream{Rate: video.BitRate(d.Stream), Duty: d.Duty})
		}
	}
	load, err := video.NetworkLoad(streams)
	if err != nil {
		return 0
	}
	return inventory.BitRate(load)
}

// crosses reports whether the camera reaches its recorder over the link.
func (a *auditor) crosses(d *inventory.Device, l *inventory.RadioLink) bool {
	far, t := "", a.tree
	switch {
	case t.parent[l.Between[1]] == l.Between[0]:
		far = l.Between[1]
	case t.parent[l.Between[0]] == l.Between[1]:
		far = l.Between[0]
	default:
		return false
	}
	rec := a.recorderOf(d)
	return rec != nil && t.below(d.Name, far) != t.below(rec.Name, far)
}

// below reports whether the way from name to the root of the tree leads over up.
func (t *tree) below(name, up string) bool {
	for n, steps := name, 0; n != "" && steps <= len(t.depth); n, steps = t.parent[n], steps+1 {
		if n == up {
			return true
		}
	}
	return false
}

// recorderOf is what keeps the camera's stream: the plan's word, else the only
// recorder; nil: none.
func (a *auditor) recorderOf(d *inventory.Device) *inventory.Device {
	if d.Recorder != "" {
		return a.planned[d.Recorder]
	}
	return a.recorder
}

// onlyRecorder is the recorder of a plan that has one; nil: none, or several.
func onlyRecorder(plan *inventory.Plan) *inventory.Device {
	var only *inventory.Device
	for i := range plan.Devices {
		if r := &plan.Devices[i]; r.Role == inventory.Recorder || r.Recording.Disk > 0 {
			if only != nil {
				return nil
			}
			only = r
		}
	}
	return only
}

func (p *paper) putLink(k Kind, l *inventory.RadioLink, expected, observed, advice, caution string) *Finding {
	f := New(k, l.Name)
	f.Where, f.Basis = strings.Join(l.Between[:], " to "), inventory.Planned
	f.Expected, f.Observed, f.Advice, f.Caution = expected, observed, advice, caution
	return p.add(f, p.planned[l.Between[0]])
}

// links judges the radio links.
func (p *paper) links() {
	for _, l := range p.linkPapers() {
		if l.err != nil {
			p.putLink(LinkMarginLow, l.plan, "figures that a link can have", l.err.Error(), "set the plan of the link right", "").Severity = Warning
			continue
		}
		p.margin(l)
		for k, end := range l.paper.Arrives {
			if over := end.Over; over > 0 {
				p.putLink(RadiatedPower, l.plan, fmt.Sprintf("at most %.1f dBm, the plan's limit", *l.plan.EIRPLimit),
					fmt.Sprintf("%.1f dBm at %s", end.EIRP, l.plan.Between[k]),
					fmt.Sprintf("lower the transmit power by %.1f dB, or take an antenna of less gain", over), radio.CautionLimits)
				break
			}
		}
		p.loadOver(l)
	}
}

func (p *paper) margin(l linkPaper) {
	if !l.levels {
		return
	}
	r := l.paper
	var parts []string
	known := l.plan.Standard != ""
	switch {
	case known && !r.Best.Found:
		parts = append(parts, fmt.Sprintf("no rate has it: %.0f dBm arrives at the weaker end", min(r.Arrives[0].Level, r.Arrives[1].Level)))
	case known && r.Needed.Found && r.Needed.Margin < r.Wanted-1e-9:
		parts = append(parts, fmt.Sprintf("%.0f dB at the rate that its load of %s needs", r.Needed.Margin, inventory.BitRate(l.link.Load)))
	}
	if r.Short > 0 {
		parts = append(parts, fmt.Sprintf("%.1f m of free height are missing at the obstacle, %.1f m are wanted there", r.Short, r.Obstacle.Wanted))
	}
	if len(parts) == 0 {
		return
	}
	p.putLink(LinkMarginLow, l.plan, fmt.Sprintf("at least %.0f dB of margin and a clear way", r.Wanted), sentence(parts...),
		"raise the antennas, clear the way, or take a narrower channel or antennas of more gain within the limits", radio.CautionHeights+" "+radio.CautionLimits)
}

func (p *paper) loadOver(l linkPaper) {
	load := inventory.BitRate(l.link.Load)
	usable, by := l.carries()
	none := usable == 0 && l.levels && l.plan.Standard != "" && l.paper.Over
	if load <= 0 || !none && (usable <= 0 || load <= usable) {
		return
	}
	observed := fmt.Sprintf("%s to carry", load)
	if streams := p.streamsOver(l.plan); streams > l.plan.Needs {
		observed += fmt.Sprintf(", %s of it from cameras", streams)
	}
	p.putLink(LoadOverLink, l.plan, fmt.Sprintf("at most %s of data, bounded by %s", usable, boundWords(by)), observed,
		"lower the cameras' rates, or use a wider channel, a faster cable side or a second link", radio.CautionLimits)
}

func boundWords(by string) string {
	if by == "air" || by == "" {
		return "the air"
	}
	return "the cable side of " + by
}

// overlaps reports planned links whose channels share spectrum. Links that share
// a radio share it on purpose.
func (p *paper) overlaps() {
	ls := p.linkPapers()
	for i := range ls {
		for j := range i {
			x, y := ls[j], ls[i]
			shared := x.link.Channel.Overlap(y.link.Channel)
			if x.err != nil || y.err != nil || shared <= 0 ||
				slices.ContainsFunc(x.plan.Between[:], func(e string) bool { return slices.Contains(y.plan.Between[:], e) }) {
				continue
			}
			p.putLink(ChannelOverlap, y.plan, "a channel of its own", fmt.Sprintf("%.0f MHz shared with the link %s", float64(shared), x.plan.Name),
				"set one of them to another channel, or both to narrower ones", radio.CautionLimits)
			break
		}
	}
}

func (p *paper) linkLines() []LinkLine {
	var out []LinkLine
	for _, l := range p.linkPapers() {
		line := LinkLine{Link: l.plan.Name, Load: p.linkLoad(l.plan)}
		if l.err != nil {
			line.Problem = l.err.Error()
			out = append(out, line)
			continue
		}
		r := l.paper
		line.FreeSpace, line.PathLoss, line.Fresnel, line.Obstacle = float64(r.FreeSpace), float64(r.PathLoss), float64(r.Middle.Wanted), float64(r.Obstacle.Wanted)
		line.Notes = slices.Clone(r.Notes)
		line.Usable, line.Bounded = l.carries()
		if line.Usable > 0 {
			line.Share = float64(line.Load) / float64(line.Usable)
		}
		if l.levels {
			for k, a := range r.Arrives {
				line.Levels[k], line.Radiated[k] = float64(a.Level), float64(a.EIRP)
			}
			line.Margin, line.AirRate = float64(r.Best.Margin), inventory.BitRate(r.Best.Rate)
		} else {
			line.Notes = append(line.Notes, "The plan gives neither transmit power nor antenna gain, so there is no level.")
		}
		if len(r.Losses) > 0 && len(l.plan.Through) > 0 {
			line.Notes = append(line.Notes, radio.WallNote)
		}
		out = append(out, line)
	}
	return out
}
