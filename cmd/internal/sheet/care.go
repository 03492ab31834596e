package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

func (m *maker) zone() *time.Location {
	if m.plan.Site.Location == nil {
		return time.UTC
	}
	return m.plan.Site.Location
}

const usualBoots = 10 * time.Minute // as the runs take it, unless the plan says

// powerCut is what to do when the power comes back: what starts what, from the
// mains outwards.
func (m *maker) powerCut() Table {
	t := Table{Part: "power-cut", Title: "After a power cut", Numbers: true}
	say := func(format string, args ...any) { t.Notes = append(t.Notes, fmt.Sprintf(format, args...)) }
	for _, u := range m.paper.UPSes {
		t.Notes = append(t.Notes, upsWords(u))
	}
	say("Wait until the mains stay on, then touch nothing for %s: the site takes that long to come up by itself.", minutes(cmp.Or(m.plan.Site.Boots, usualBoots)))
	for depth, names := range m.bySource() {
		if len(names) == 0 {
			continue
		}
		if depth == 0 {
			say("Look first at what plugs into the mains or a UPS: %s.", strings.Join(names, "; "))
			continue
		}
		say("Then at what those feed%s: %s.", map[bool]string{true: ", and so on", false: ""}[depth > 1], strings.Join(names, ", "))
	}
	say(`Run "boundwalk run": it names what is not back, and the one cause where several are behind it.`)
	return t
}

// upsWords say what a UPS carries and for how long, as far as paper can tell.
func upsWords(u diff.UPSLine) string {
	text := u.UPS + " carries " + power(u.Load)
	if len(u.Unknown) > 0 {
		text += fmt.Sprintf(" and, of unknown watts, %s", strings.Join(u.Unknown, ", "))
	}
	switch {
	case u.Runtime > 0 && len(u.Unknown) > 0:
		return text + fmt.Sprintf("; for less than %s on paper; switch off what can wait before that.", minutes(u.Runtime))
	case u.Runtime > 0:
		return text + fmt.Sprintf(" for about %s on paper, when its battery is good; switch off what can wait before that.", minutes(u.Runtime))
	case u.Want > 0:
		return text + fmt.Sprintf("; it is meant to last %s, which the plan does not tell enough to reckon.", minutes(u.Want))
	}
	return text + "; how long is not in the plan."
}

func minutes(d time.Duration) string { return fmt.Sprintf("%.0f minutes", d.Minutes()) }

// bySource lists what feeds others, by how many feeds lie between it and the mains.
func (m *maker) bySource() [][]string {
	var out [][]string
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if !d.Role.IsInfrastructure() && d.Role != inventory.UPS && d.Role != inventory.Recorder && d.Role != inventory.Server {
			continue
		}
		depth, cur := 0, d
		for range len(m.plan.Devices) {
			src, _, ok := m.plan.FedBy(cur)
			if cur.Mains != "" || !ok || !cur.TakesPower() && cur.Role != inventory.PassThroughSwitch {
				break
			}
			depth, cur = depth+1, src
		}
		for len(out) <= depth {
			out = append(out, nil)
		}
		name := d.Name
		if depth == 0 && (d.Room != "" || d.Mains != "") {
			name += " (" + strings.Join(slices.DeleteFunc([]string{d.Room, d.Mains}, func(s string) bool { return s == "" }), ", ") + ")"
		}
		out[depth] = append(out[depth], name)
	}
	return out
}

// cautions are what can hurt people or gear, with the place where it can.
func (m *maker) cautions() Table {
	t := Table{Part: "cautions", Title: "Cautions"}
	var passive, outdoor, bundles, mains, radios []string
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if d.Feeds.Standard == poe.Passive || d.Feeds.Forced {
			words := d.Name
			if d.Feeds.Volts > 0 {
				words += fmt.Sprintf(" (%g V)", d.Feeds.Volts)
			}
			passive = append(passive, words)
		}
		if d.Cable.Outdoor {
			outdoor = append(outdoor, cmp.Or(d.Cable.Label, d.Name))
		}
		if d.Cable.Bundle > 1 {
			bundles = append(bundles, cmp.Or(d.Cable.Label, d.Name))
		}
		if d.Role == inventory.UPS || d.Role == inventory.Injector || d.Mains == "mains" && d.Role == inventory.Switch {
			mains = append(mains, d.Name)
		}
		if d.Role == inventory.Radio {
			radios = append(radios, d.Name)
		}
	}
	put := func(names []string, words string) {
		if len(names) > 0 {
			t.Notes = append(t.Notes, strings.Join(names, ", ")+": "+words)
		}
	}
	put(passive, poe.CautionPassive)
	put(mains, poe.CautionMains)
	put(outdoor, cable.CautionOutdoor)
	put(bundles, cable.CautionBundle)
	put(radios, "Switch a radio off before work at its antenna, and keep to the power and channels that your country allows. Work at heights is for those trained and secured for it.")
	var alone []string
	for _, a := range m.plan.LeaveAlone {
		name := a.String()
		for i := range m.plan.Devices {
			if slices.Contains(m.plan.Devices[i].Addresses, a) {
				name = fmt.Sprintf("%s (%s)", m.plan.Devices[i].Name, a)
			}
		}
		alone = append(alone, name)
	}
	put(alone, "Left alone on purpose; do not scan or log in to it. It may be a lift, an alarm or a door.")
	return t
}
