package commission

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// uplink judges the radio links that the device's traffic goes through, on paper with it on.
func (j *judge) uplink() {
	on := j.way()
	for _, l := range j.sheet.Links {
		if !on[l.Link] {
			continue
		}
		what := "radio link " + l.Link
		near := cmp.Or(j.plan.Near.LinkShare, 0.7)
		switch {
		case l.Problem != "":
			j.say(what, Unknown, l.Problem, "")
		case l.Usable <= 0:
			j.say(what, Unknown, "what it carries is not known", "")
		case l.Share > 1:
			j.say(what, Fail, fmt.Sprintf("%s of %s, %.0f %%, planned", l.Load, l.Usable, 100*l.Share), "lower the streams, or widen the link")
		case l.Share >= near:
			j.say(what, Warn, fmt.Sprintf("%s of %s, %.0f %%, planned", l.Load, l.Usable, 100*l.Share), "little is left: lower the streams before more is added")
		default:
			j.say(what, Pass, fmt.Sprintf("%s of %s, %.0f %%, planned", l.Load, l.Usable, 100*l.Share), "")
		}
	}
	up, ok := j.plan.Device(j.seen.Place.Switch)
	if !ok || up.Port == "" {
		return
	}
	p, ok := j.snap.Port(inventory.PortRef{Device: up.Name, Port: up.Port})
	if !ok || p.Up == nil {
		j.say("uplink", Unknown, fmt.Sprintf("port %s of %s is not readable", up.Port, up.Name), "")
		return
	}
	switch {
	case !*p.Up:
		j.say("uplink", Fail, fmt.Sprintf("port %s of %s is down", up.Port, up.Name), "look at that cable first")
	case up.Speed > 0 && p.Speed > 0 && p.Speed < up.Speed:
		j.say("uplink", Warn, fmt.Sprintf("port %s of %s at %s, planned %s", up.Port, up.Name, p.Speed, up.Speed), "look at that cable")
	default:
		j.say("uplink", Pass, fmt.Sprintf("port %s of %s up at %s", up.Port, up.Name, p.Speed), "")
	}
}

// way are the radio links between the device and the router.
func (j *judge) way() map[string]bool {
	on := map[string]bool{}
	cur := j.dev
	for range len(j.paper.Devices) {
		up := j.paper.Above(cur)
		if up.IsZero() {
			break
		}
		for _, l := range j.paper.Links {
			if l.Between[0] == cur.Name || l.Between[1] == cur.Name || l.Between[0] == up.Device || l.Between[1] == up.Device {
				on[l.Name] = true
			}
		}
		next, ok := j.paper.Device(up.Device)
		if !ok {
			break
		}
		cur = next
	}
	return on
}

func (j *judge) recording() {
	if j.dev.Role != inventory.Camera && j.dev.Role != inventory.Recorder {
		return
	}
	if len(j.sheet.Recordings) == 0 {
		j.say("recording time", Unknown, "the plan names no recorder with a disk", "")
		return
	}
	for _, r := range j.sheet.Recordings {
		if rec := cmp.Or(j.dev.Recorder, r.Recorder); rec != r.Recorder || j.dev.Role == inventory.Recorder && j.dev.Name != r.Recorder {
			continue
		}
		found := fmt.Sprintf("%.1f days on %s with %d cameras, planned", r.Kept, r.Recorder, r.Cameras)
		switch {
		case r.Problem != "":
			j.say("recording time", Unknown, r.Problem, "")
		case j.dev.Role == inventory.Camera && j.dev.Stream == 0:
			j.say("recording time", Unknown, "the plan gives it no stream", "write its stream into the plan")
		case r.Want > 0 && r.Kept < r.Want:
			j.say("recording time", Fail, fmt.Sprintf("%s, wanted %.0f", found, r.Want), "lower the streams, or take a larger disk")
		case r.Want > 0 && r.Kept < 1.1*r.Want:
			j.say("recording time", Warn, fmt.Sprintf("%s, wanted %.0f", found, r.Want), "one more camera will not fit")
		default:
			j.say("recording time", Pass, found, "")
		}
	}
}

// supply judges what is left of what feeds the device: as measured, and as reserved on paper.
func (j *judge) supply() {
	src, _, fed := j.paper.FedBy(j.dev)
	if !fed || !j.dev.TakesPower() {
		return
	}
	near := cmp.Or(j.plan.Near.SupplyShare, poe.NearSupply)
	seen := false
	for i := range j.snap.Supplies {
		s := &j.snap.Supplies[i]
		if s.Switch != src.Name {
			continue
		}
		load, basis := s.Load()
		share, ok := s.Share()
		if !ok {
			continue
		}
		seen = true
		found := fmt.Sprintf("%s of %s given, %.0f %%, %s left, %s", *load, *s.Budget, 100*share, *s.Budget-*load, basis)
		switch {
		case share > 1:
			j.say("supply "+src.Name, Fail, found, "take something off it").Caution = poe.CautionMains
		case share >= near && basis == inventory.Measured:
			j.say("supply "+src.Name, Warn, found, "make room before more is added").Caution = poe.CautionMains
		default:
			j.say("supply "+src.Name, Pass, found, "")
		}
	}
	for _, l := range j.sheet.Supplies {
		if l.Device != src.Name || l.Budget <= 0 {
			continue
		}
		found := fmt.Sprintf("%s left of %s on paper", l.Left, l.Budget)
		if l.Reserved > 0 {
			found += fmt.Sprintf(", %s reserved", l.Reserved)
		}
		switch {
		case l.Left < 0:
			j.say("reserve of "+src.Name, Fail, found, "take something off it, or let it reserve less").Caution = poe.CautionMains
		case len(l.Unknown) > 0:
			j.say("reserve of "+src.Name, Unknown, found+", but watts are not known of "+strings.Join(l.Unknown, ", "), "write class or draw into the plan")
		default:
			j.say("reserve of "+src.Name, Pass, found, "")
		}
		seen = true
	}
	if !seen {
		j.say("supply "+src.Name, Unknown, "neither it nor the plan tells its budget", "write its budget into the plan")
	}
}

// Nothing is the record of a watch in which no device came.
func Nothing(plan *inventory.Plan, w Watched, now time.Time) Record {
	r := Record{Site: plan.Site.Name, Device: "nothing", At: now}
	for _, p := range w.Ports {
		port, _ := w.After.Port(p)
		s := &inventory.SeenDevice{Place: inventory.Place{Switch: p.Device, Port: p.Port}}
		r.Device, r.Where = "a device without a MAC address", p.String()
		r.Steps = append(r.Steps, Step{What: "port", State: Fail, Found: NoAddress(s, port) + "; no MAC address was learned there",
			Do: "wait until it has started, then try again; if it stays, look at the data pairs of its cable"})
	}
	if len(r.Steps) > 0 {
		return r
	}
	ports, dead := map[string]int{}, []string{}
	for i := range w.After.Ports {
		ports[w.After.Ports[i].Switch]++
	}
	for _, c := range w.After.Coverage {
		if c.Table == "" && c.Source == inventory.SourceSNMP && c.Result != inventory.Complete {
			dead = append(dead, fmt.Sprintf("%s (%s)", c.Subject, c.Result))
		}
	}
	var watched []string
	for i := range plan.Devices {
		if n := ports[plan.Devices[i].Name]; n > 0 {
			watched = append(watched, fmt.Sprintf("%d ports of %s", n, plan.Devices[i].Name))
		}
	}
	for _, n := range w.Before.Networks { // later looks ask them only where something woke up
		if n.Looked == inventory.Complete {
			watched = append(watched, fmt.Sprintf("the network %s by %s", n.Name, n.How))
		}
	}
	r.Steps = append(r.Steps, Step{What: "arrival", State: Fail,
		Found: fmt.Sprintf("nothing came in %s; watched: %s", w.Ended.Sub(w.Began).Round(time.Second),
			cmp.Or(strings.Join(watched, ", "), "nothing, for no switch and no network could be looked at")),
		Do: "look at its power and its cable; if it hangs where nothing was watched, give that switch an access"})
	if len(dead) > 0 {
		r.Steps = append(r.Steps, Step{What: "not watched", State: Unknown, Found: strings.Join(dead, ", "), Do: `"boundwalk doctor" says what to do`})
	}
	return r
}
