package commission

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
	"boundwalk/inventory/radio"
)

// State is how a step ended.
type State string

// The states. Unknown is never a pass: it could not be seen, and the step says why.
const (
	Pass    State = "pass"
	Warn    State = "warn"
	Fail    State = "fail"
	Unknown State = "unknown"
)

// Step is one thing that was proved, or not.
type Step struct {
	What    string `json:"what"`
	State   State  `json:"state"`
	Found   string `json:"found"`
	Do      string `json:"do"`
	Caution string `json:"caution"`
}

// Record is what is left of a commission of one device.
type Record struct {
	Site    string               `json:"site"`
	Plan    string               `json:"plan"` // the name of its file
	Device  string               `json:"device"`
	Planned bool                 `json:"planned"`
	MACs    []inventory.MAC      `json:"macs"`
	Where   string               `json:"where"`
	At      time.Time            `json:"at"`
	Steps   []Step               `json:"steps"`
	Entry   string               `json:"entry"` // of the plan, for a device that it does not name
	Check   string               `json:"check"` // what is to be seen to by hand in the entry
	Run     *int64               `json:"run"`   // of the logbook, by which it is kept; nil: in none
	Unkept  string               `json:"unkept"`
	Seen    inventory.SeenDevice `json:"-"`
}

// Failed reports whether a step failed.
func (r Record) Failed() bool {
	return slices.ContainsFunc(r.Steps, func(s Step) bool { return s.State == Fail })
}

// Judge goes through one device of the snapshot. Name is the planned device
// that it is to be; empty: what it is in the snapshot.
func Judge(plan *inventory.Plan, snap *inventory.Snapshot, seen, name string, now time.Time) Record {
	s, ok := snap.Device(seen)
	if !ok {
		s = &inventory.SeenDevice{Name: seen}
	}
	d, planned := plan.Device(cmp.Or(name, seen))
	j := &judge{plan: plan, snap: snap, seen: s, dev: d, paper: plan, now: now}
	if !planned { // the paper is reckoned with it on
		j.dev = &inventory.Device{Name: seen, Role: s.Role, MACs: s.MACs, Addresses: s.Addrs}
		if firm(s) {
			j.dev.At = s.Place.Ref()
		}
	}
	j.planned = planned
	if p, ok := snap.Port(s.Place.Ref()); ok && (s.Place.Among < 2 || planned && d.At == s.Place.Ref()) {
		j.port = p
		if !planned && p.Power != nil {
			j.dev.Class = p.Power.Class
		}
	}
	if !planned && len(plan.Devices) > 0 {
		with := *plan
		with.Devices = append(slices.Clone(plan.Devices), *j.dev)
		with.Index()
		j.paper = &with
	}
	r := Record{Site: plan.Site.Name, Device: cmp.Or(name, seen), Planned: planned, MACs: s.MACs, Where: s.Place.Ref().String(), At: now, Seen: *s}
	j.sheet = diff.PaperLines(j.paper)
	for _, step := range []func(){j.place, j.mac, j.link, j.power, j.vlan, j.address, j.kind, j.firmware, j.login, j.uplink, j.recording, j.supply, j.looked} {
		step()
	}
	r.Steps = j.steps
	return r
}

type judge struct {
	plan, paper *inventory.Plan
	snap        *inventory.Snapshot
	seen        *inventory.SeenDevice
	dev         *inventory.Device
	planned     bool
	port        *inventory.PortState // that it alone hangs on; nil: not known
	sheet       diff.Sheet
	now         time.Time
	steps       []Step
}

func (j *judge) say(what string, state State, found, do string) *Step {
	j.steps = append(j.steps, Step{What: what, State: state, Found: found, Do: do})
	return &j.steps[len(j.steps)-1]
}

func (j *judge) place() {
	at := j.plan.ManagedPort(j.dev)
	got := j.seen.Place
	switch {
	case got.IsZero():
		j.say("port", Unknown, "no switch that may be asked has learned it", "see that its switch has an access in the plan")
	case got.Basis == inventory.Remembered || got.Basis == inventory.Inferred:
		j.say("port", Unknown, fmt.Sprintf("perhaps %s, %s", got.Ref(), got.Basis), "wait until its switch has learned it")
	case !j.planned:
		j.say("port", Pass, fmt.Sprintf("%s, by %s", got.Ref(), got.Basis), "")
	case at.IsZero():
		j.say("port", Unknown, fmt.Sprintf("%s; the plan does not say where it belongs", got.Ref()), "give it at: "+got.Ref().String())
	case !strings.EqualFold(at.String(), got.Ref().String()):
		s := j.say("port", Fail, fmt.Sprintf("%s, planned %s", got.Ref(), at), "plug it into the planned port, or take the new one into the plan")
		if j.dev.IsPassive() {
			s.Do = "find the injector's lead and label it before anything is plugged in near " + at.String()
			s.Caution = poe.CautionPassive
		}
	case got.Among > 1:
		j.say("port", Pass, fmt.Sprintf("behind %s, with %d more", got.Ref(), got.Among-1), "")
	default:
		j.say("port", Pass, got.Ref().String()+", as planned", "")
	}
}

func (j *judge) mac() {
	var macs []string
	for _, m := range j.seen.MACs {
		macs = append(macs, m.String())
	}
	found := strings.Join(macs, ", ")
	switch {
	case len(macs) == 0:
		j.say("MAC address", Unknown, "none was learned", "see that it has started")
	case !j.planned:
		j.say("MAC address", Pass, found+", new", "")
	case len(j.dev.MACs) == 0:
		j.say("MAC address", Pass, found+"; the plan has none yet", "--write takes it in")
	case slices.ContainsFunc(j.seen.MACs, j.dev.HasMAC):
		j.say("MAC address", Pass, found+", as planned", "")
	default:
		j.say("MAC address", Fail, fmt.Sprintf("%s, planned %s", found, j.dev.MACs[0]), "if it was exchanged, run and accept it; if not, look what stands there")
	}
}

func (j *judge) link() {
	p := j.port
	if p == nil || p.Up == nil {
		j.say("link", Unknown, "the port's link is not readable", "")
		return
	}
	if !*p.Up {
		j.say("link", Fail, "down", "look at the cable and both plugs").Caution = j.heights()
		return
	}
	speed := "speed not told"
	if p.Speed > 0 {
		speed = p.Speed.String()
	}
	want := j.speed()
	half := p.HalfDuplex != nil && *p.HalfDuplex
	switch {
	case half:
		j.say("link", Fail, speed+", half duplex", "set both ends to negotiate; look at the cable").Caution = j.heights()
	case want > 0 && p.Speed > 0 && p.Speed < want:
		j.say("link", Fail, fmt.Sprintf("%s, planned %s", speed, want),
			"a pair is bad or missing: look at the plugs, the injector and the length").Caution = j.heights()
	case want > 0 && p.Speed == 0:
		j.say("link", Unknown, "up, speed not told", "")
	default:
		j.say("link", Pass, "up at "+speed, "")
	}
	if n := grew(p.Counters.FCS) + grew(p.Counters.InErrors); n > 0 {
		j.say("link errors", Warn, fmt.Sprintf("%d counted on the port since its switch started", n),
			"look again in a day: if they grow, make the plugs anew").Caution = j.heights()
	}
}

// heights is the caution for whoever climbs up to the plug of what hangs high.
func (j *judge) heights() string {
	switch j.dev.Role {
	case inventory.Camera, inventory.Radio, inventory.AccessPoint:
		return radio.CautionHeights
	}
	return ""
}

// speed is what the link is meant to run at; of a radio the plan says it at its link.
func (j *judge) speed() inventory.BitRate {
	for _, l := range j.plan.Links {
		for k, end := range l.Between {
			if end == j.dev.Name {
				return max(j.dev.Speed, l.PortSpeed[k])
			}
		}
	}
	return j.dev.Speed
}

func grew(n *uint64) uint64 {
	if n == nil {
		return 0
	}
	return *n
}

func (j *judge) vlan() {
	p := j.port
	want := j.dev.VLAN
	if n, ok := j.plan.NetworkOf(j.dev.Address()); ok && want == 0 && j.planned && j.dev.Role != inventory.Switch && j.dev.Role != inventory.Router &&
		!slices.Contains(j.dev.Tagged, n.VLAN) {
		want = n.VLAN
	}
	if want == 0 || p == nil {
		return
	}
	switch {
	case !p.VLANKnown || p.VLAN == 0:
		j.say("VLAN", Unknown, "its switch does not tell", "")
	case p.VLAN != want:
		j.say("VLAN", Fail, fmt.Sprintf("%d untagged, planned %d", p.VLAN, want), "set the VLAN of the port right in the switch's settings")
	default:
		j.say("VLAN", Pass, fmt.Sprintf("%d untagged", p.VLAN), "")
	}
}

// address is the step that must end with an answer even where ARP finds
// nothing: the switch knows that a device is there.
func (j *judge) address() {
	want := j.dev.Addresses
	v4 := slices.DeleteFunc(slices.Clone(j.seen.Addrs), func(a netip.Addr) bool { return !a.Is4() })
	if len(v4) == 0 {
		if j.planned && len(want) == 0 {
			j.say("address", Pass, "none seen, none planned", "")
			return
		}
		j.say("address", Fail, NoAddress(j.seen, j.port), "give it an address of its network, or let it ask for one; a factory address is reached from a computer set to the same range")
		return
	}
	n, ok := j.plan.NetworkOf(v4[0])
	where := v4[0].String()
	if ok {
		where += ", in " + n.Name
	}
	shared := slices.ContainsFunc(j.snap.Shared, func(s inventory.SharedAddr) bool { return slices.Contains(v4, s.Addr) })
	switch {
	case shared:
		j.say("address", Fail, where+"; another device answers for it too", "give one of them another address")
	case j.planned && len(want) > 0 && !slices.ContainsFunc(v4, func(a netip.Addr) bool { return slices.Contains(want, a) }):
		j.say("address", Fail, fmt.Sprintf("%s, planned %s", where, want[0]), "set its address right, or take the new one into the plan")
	case !j.planned && ok && slices.ContainsFunc(n.Dynamic, func(r inventory.AddrRange) bool { return r.Contains(v4[0]) }):
		j.say("address", Warn, where+", which DHCP gave it and may change", "give it a fixed one outside of the range, or a reservation")
	default:
		j.say("address", Pass, where, "")
	}
}

// NoAddress says in one sentence what is known of a device without an address.
func NoAddress(s *inventory.SeenDevice, p *inventory.PortState) string {
	where := "somewhere"
	var traits []string
	if !s.Place.IsZero() {
		where = fmt.Sprintf("on port %s of %s", s.Place.Port, s.Place.Switch)
	}
	if p != nil && p.Power != nil && p.Power.State == inventory.PSEDelivering {
		if n, ok := p.Power.Class.Number(); ok {
			traits = append(traits, fmt.Sprintf("class %d", n))
		}
	}
	for _, m := range s.MACs {
		traits = append(traits, "MAC "+m.String())
	}
	words := "a device is " + where
	if len(traits) > 0 {
		words += " (" + strings.Join(traits, ", ") + ")"
	}
	switch {
	case len(s.Foreign) == 0:
		return words + ", it has no address in this network; perhaps factory or self-assigned"
	case s.Foreign[0].IsLinkLocalUnicast():
		return words + fmt.Sprintf(", it has no address in this network but the self-assigned %s: DHCP did not answer", s.Foreign[0])
	}
	return words + fmt.Sprintf(", it has no address in this network; it speaks as %s, perhaps its factory address", s.Foreign[0])
}

func (j *judge) kind() {
	s := j.seen
	var words []string
	if s.Hostname != "" {
		words = append(words, "calls itself "+s.Hostname)
	}
	if s.MakerBy == "registry" {
		words = append(words, slices.DeleteFunc([]string{s.Product}, func(p string) bool { return p == "" })...)
		words = append(words, "its MAC address is of "+s.Maker)
	} else if what := strings.TrimSpace(s.Maker + " " + s.Product); what != "" {
		words = append(words, what)
	}
	switch {
	case len(words) == 0:
		j.say("name and maker", Unknown, "it says nothing of itself", "")
	case j.dev.Serial != "" && s.Serial != "" && j.dev.Serial != s.Serial:
		j.say("name and maker", Fail, fmt.Sprintf("%s, serial %s, planned %s", strings.Join(words, ", "), s.Serial, j.dev.Serial),
			"see whether it is the one that was meant")
	case j.planned && j.dev.Maker != "" && s.MakerBy != "registry" && s.Maker != "" && !strings.EqualFold(j.dev.Maker, s.Maker):
		j.say("name and maker", Warn, fmt.Sprintf("%s, planned %s", strings.Join(words, ", "), j.dev.Maker), "see whether it is the model that was meant")
	default:
		j.say("name and maker", Pass, strings.Join(words, ", "), "")
	}
}

func (j *judge) firmware() {
	switch got, want := j.seen.Firmware, j.dev.Firmware; {
	case got == "":
		j.say("firmware", Unknown, "not told", "look at its own page, and bring it up to date before it is out of reach")
	case want != "" && want != got:
		j.say("firmware", Warn, fmt.Sprintf("%s, planned %s", got, want), "bring it to the planned one")
	default:
		j.say("firmware", Pass, got, "")
	}
}
