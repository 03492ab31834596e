package commission_test

import (
	"net/netip"
	"slices"
	"testing"
	"time"

	"boundwalk/cmd/internal/commission"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

var judged = map[string]struct {
	plan   func(*inventory.Plan)
	snap   func(*inventory.Snapshot)
	step   string
	want   commission.State
	caveat bool
}{
	"all well":            {nil, nil, "port", commission.Pass, false},
	"other port":          {nil, func(s *inventory.Snapshot) { s.Devices[1].Place.Port = "6" }, "port", commission.Fail, false},
	"remembered port":     {nil, func(s *inventory.Snapshot) { s.Devices[1].Place.Basis = inventory.Remembered }, "port", commission.Unknown, false},
	"slower than planned": {func(p *inventory.Plan) { p.Devices[1].Speed = 1e9 }, nil, "link", commission.Fail, true},
	"half duplex":         {nil, func(s *inventory.Snapshot) { s.Ports[0].HalfDuplex = new(true) }, "link", commission.Fail, true},
	"no link state":       {nil, func(s *inventory.Snapshot) { s.Ports[0].Up = nil }, "link", commission.Unknown, false},
	"another class":       {func(p *inventory.Plan) { p.Devices[1].Class = poe.Class2 }, nil, "class", commission.Warn, false},
	"near its limit":      {nil, func(s *inventory.Snapshot) { *s.Ports[0].Power.Draw = 14000 }, "draw", commission.Warn, false},
	"over its limit":      {nil, func(s *inventory.Snapshot) { *s.Ports[0].Power.Draw = 15500 }, "draw", commission.Fail, false},
	"negotiated near": {nil, func(s *inventory.Snapshot) {
		*s.Ports[0].Power.Draw = 15400
		s.Ports[0].Power.DrawBasis = inventory.Negotiated
	}, "draw", commission.Pass, false},
	"draw not told": {nil, func(s *inventory.Snapshot) { s.Ports[0].Power.Draw = nil }, "draw", commission.Unknown, false},
	"power into passive": {func(p *inventory.Plan) { p.Devices[1].Takes = inventory.Feed{Standard: poe.Passive, Volts: 24} }, nil,
		"power", commission.Fail, true},
	"no power":      {nil, func(s *inventory.Snapshot) { s.Ports[0].Power.State = inventory.PSESearching }, "power", commission.Fail, false},
	"wrong VLAN":    {nil, func(s *inventory.Snapshot) { s.Ports[0].VLAN, s.Ports[0].VLANKnown = 10, true }, "VLAN", commission.Fail, false},
	"VLAN not told": {nil, nil, "VLAN", commission.Unknown, false},
	"other address": {nil, func(s *inventory.Snapshot) { s.Devices[1].Addrs = []netip.Addr{netip.MustParseAddr("203.0.113.140")} },
		"address", commission.Fail, false},
	"two answer": {nil, func(s *inventory.Snapshot) {
		s.Shared = []inventory.SharedAddr{{Addr: netip.MustParseAddr("203.0.113.131")}}
	}, "address", commission.Fail, false},
	"firmware not told": {nil, nil, "firmware", commission.Unknown, false},
	"older firmware": {func(p *inventory.Plan) { p.Devices[1].Firmware = "2.0" },
		func(s *inventory.Snapshot) { s.Devices[1].Firmware = "1.4" }, "firmware", commission.Warn, false},
	"factory login open": {nil, func(s *inventory.Snapshot) {
		s.Logins = []inventory.LoginResult{{Device: "slip-cam", Outcome: inventory.LoginAccepted}}
	}, "factory login", commission.Fail, false},
	"factory login refused": {nil, logins(inventory.LoginRefused, noon), "factory login", commission.Pass, false},
	"refused an hour ago, not tried again": {nil, logins(inventory.LoginRefused, noon.Add(-time.Hour), inventory.LoginNotChecked, noon),
		"factory login", commission.Pass, false},
	"refused a month ago": {nil, logins(inventory.LoginRefused, noon.AddDate(0, -1, 0), inventory.LoginNotChecked, noon), "factory login",
		commission.Unknown, false},
	"accepted a month ago": {nil, logins(inventory.LoginAccepted, noon.AddDate(0, -1, 0), inventory.LoginNotChecked, noon),
		"factory login", commission.Fail, false},
	"accepted, then refused": {nil, logins(inventory.LoginAccepted, noon.Add(-time.Hour), inventory.LoginRefused, noon),
		"factory login", commission.Pass, false},
	"factory login never tried": {nil, logins(inventory.LoginNotChecked, noon), "factory login", commission.Unknown, false},
	"never set up":              {nil, logins(inventory.LoginUnset, noon), "factory login", commission.Fail, false},
	"a sign of a lock":          {nil, logins(inventory.LoginLocked, noon), "factory login", commission.Warn, false},
	"another device's factory login": {nil, func(s *inventory.Snapshot) {
		s.Logins = []inventory.LoginResult{{Device: "gate-cam", Outcome: inventory.LoginRefused}}
	}, "factory login", commission.Unknown, false},
	"usual community beside the factory login": {nil, func(s *inventory.Snapshot) {
		logins(inventory.LoginAccepted, noon)(s)
		s.Logins = append(s.Logins, inventory.LoginResult{Device: "slip-cam", Entry: "usual-read-community", Over: "snmp",
			Outcome: inventory.LoginCannotTell, When: noon})
	}, "factory login", commission.Fail, false},
	"no raw socket":          {nil, gap("cameras", inventory.SourceARP, inventory.Partial), "not looked at", commission.Unknown, false},
	"its switch is dumb":     {nil, gap("quay-switch", inventory.SourceSNMP, inventory.NoAnswer), "not looked at", commission.Unknown, false},
	"no access to any":       {func(p *inventory.Plan) { p.Devices[0].Access = "" }, nil, "not looked at", commission.Unknown, false},
	"factory login unproved": {nil, nil, "factory login", commission.Unknown, false},
	"no recorder":            {nil, nil, "recording time", commission.Unknown, false},
	"reserve":                {nil, nil, "reserve of quay-switch", commission.Pass, false},
	"overbooked":             {func(p *inventory.Plan) { p.Devices[0].Budget = 10000 }, nil, "reserve of quay-switch", commission.Fail, true},
}

func TestJudge(t *testing.T) {
	for name, c := range judged {
		plan, snap := yard(), scene(powered("5", 5100), device("slip-cam", "5", "203.0.113.131", mac31))
		if c.plan != nil {
			c.plan(plan)
		}
		if c.snap != nil {
			c.snap(snap)
		}
		r := commission.Judge(plan, snap, "slip-cam", "", noon)
		i := slices.IndexFunc(r.Steps, func(s commission.Step) bool { return s.What == c.step })
		if i < 0 || r.Steps[i].State != c.want || (r.Steps[i].Caution != "") != c.caveat {
			t.Errorf("%s: no step %q with %s (caution %v) in %+v", name, c.step, c.want, c.caveat, r.Steps)
		}
	}
}

// logins are results of slip-cam's factory account: outcomes, each with its time.
func logins(pairs ...any) func(*inventory.Snapshot) {
	return func(s *inventory.Snapshot) {
		for i := 0; i < len(pairs); i += 2 {
			s.Logins = append(s.Logins, inventory.LoginResult{Device: "slip-cam", Entry: "dome", Over: "http", Outcome: pairs[i].(string),
				When: pairs[i+1].(time.Time)})
		}
	}
}

// gap is a look that did not come to its end.
func gap(subject, source string, r inventory.Result) func(*inventory.Snapshot) {
	return func(s *inventory.Snapshot) {
		s.Coverage = append(s.Coverage, inventory.Coverage{Subject: subject, Source: source, Result: r, Why: "for a reason"})
	}
}

// What does not concern the device is no gap of its record.
func TestGapsElsewhere(t *testing.T) {
	plan := yard()
	plan.Networks = append(plan.Networks, inventory.Network{Name: "yard", Subnet: netip.MustParsePrefix("203.0.113.0/25")})
	plan.Devices = append(plan.Devices, inventory.Device{Name: "shed-switch", Role: inventory.Switch, Access: "yard"})
	plan.Index()
	snap := scene(powered("5", 5100), device("slip-cam", "5", "203.0.113.131", mac31),
		gap("yard", inventory.SourceARP, inventory.Partial), gap("shed-switch", inventory.SourceSNMP, inventory.NoAnswer),
		gap("quay-switch", inventory.SourceSNMP, inventory.NotOffered))
	if r := commission.Judge(plan, snap, "slip-cam", "", noon); state(r, "not looked at") != "" {
		t.Errorf("%+v", r.Steps)
	}
}
