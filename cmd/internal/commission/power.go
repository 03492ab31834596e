package commission

import (
	"cmp"
	"fmt"
	"strings"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

func (j *judge) power() {
	pw := (*inventory.PortPower)(nil)
	if j.port != nil {
		pw = j.port.Power
	}
	passive := j.dev.IsPassive() || len(j.dev.Via) > 0
	switch {
	case passive && pw != nil && pw.State == inventory.PSEDelivering:
		j.say("power", Fail, "its port gives power, though the plan feeds it otherwise",
			"switch the port's power off before anything else").Caution = poe.CautionPassive
	case passive:
		j.say("power", Unknown, "fed by "+j.feeder()+", which tells nothing of it", "measure at its end if you doubt it").Caution = poe.CautionPassive
	case pw == nil:
		if j.dev.TakesPower() {
			j.say("power", Unknown, "its port tells nothing of power", "")
		}
	case pw.State != inventory.PSEDelivering:
		state := Pass
		do := ""
		if j.dev.TakesPower() && j.dev.Mains == "" {
			state, do = Fail, "see that the port's power is on and its budget not spent; try a known good cable"
		}
		j.say("power", state, "the port gives none: "+string(pw.State), do)
	default:
		j.delivered(pw)
	}
}

// feeder names what feeds a device that its port does not.
func (j *judge) feeder() string {
	if len(j.dev.Via) > 0 {
		return strings.Join(j.dev.Via, ", ")
	}
	if src, _, ok := j.paper.FedBy(j.dev); ok {
		return src.Name
	}
	return "what the plan does not name"
}

// delivered judges class and draw against what the port grants.
func (j *judge) delivered(pw *inventory.PortPower) {
	n, classed := pw.Class.Number()
	want, planned := j.dev.Class.Number()
	switch {
	case !classed:
		j.say("class", Unknown, cmp.Or(pw.ClassNote, "not told"), "")
	case j.planned && planned && n != want:
		j.say("class", Warn, fmt.Sprintf("class %d, planned class %d", n, want), "see whether it is the model that was meant")
	default:
		j.say("class", Pass, fmt.Sprintf("class %d", n), "")
	}
	limit := cmp.Or(pw.Grant, pw.Limit)
	switch {
	case pw.Draw == nil:
		j.say("draw", Unknown, "its switch does not tell the watts of a single port", "read them at the device, or wait for its supply's figure")
	case limit == nil || *limit <= 0:
		j.say("draw", Unknown, fmt.Sprintf("%s, %s; the port's limit is not known", *pw.Draw, pw.DrawBasis), "")
	default:
		state, do := Pass, ""
		share := float64(*pw.Draw) / float64(*limit)
		near := cmp.Or(j.plan.Near.PortShare, poe.NearPort)
		if pw.DrawBasis == inventory.Measured {
			switch {
			case share > 1:
				state, do = Fail, "take it off this port: it wants one that grants more"
			case share >= near:
				state, do = Warn, "heaters and lamps come on top at night: give it a port that grants more"
			}
		}
		j.say("draw", state, fmt.Sprintf("%s of %s, %.0f %%, %s", *pw.Draw, *limit, 100*share, pw.DrawBasis), do)
	}
}
