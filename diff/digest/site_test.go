package digest_test

import (
	"math"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/diff/digest"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// The Tern Quay boatyard on a Monday morning, seven days after the last digest.
var (
	dublin = zone("Europe/Dublin")
	monday = time.Date(2026, 11, 23, 8, 0, 0, 0, dublin)
)

func zone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

func watts(w float64) *inventory.Power {
	p := inventory.Power(math.Round(w * 1000))
	return &p
}

// quiet is a week in which nothing happened.
func quiet(t testing.TB) digest.In {
	t.Helper()
	plan := &inventory.Plan{
		Site: inventory.Site{Name: "Tern Quay", Location: dublin},
		Networks: []inventory.Network{{Name: "yard", Unknown: inventory.UnknownWarning}, {Name: "cameras", Unknown: inventory.UnknownUrgent},
			{Name: "berths", Unknown: inventory.UnknownCount}},
		Devices: []inventory.Device{
			{Name: "quay-router", Role: inventory.Router},
			{Name: "quay-switch", Role: inventory.Switch, At: inventory.PortRef{Device: "quay-router", Port: "2"}},
			{Name: "recorder", Role: inventory.Recorder, At: inventory.PortRef{Device: "quay-switch", Port: "1"}},
			{Name: "office-ap", Role: inventory.AccessPoint, At: inventory.PortRef{Device: "quay-switch", Port: "4"}},
			{Name: "slip-cam", Role: inventory.Camera, At: inventory.PortRef{Device: "quay-switch", Port: "5"}},
			{Name: "gate-cam", Role: inventory.Camera, At: inventory.PortRef{Device: "quay-switch", Port: "6"}},
			{Name: "quay-radio", Role: inventory.Radio, At: inventory.PortRef{Device: "quay-switch", Port: "8"}},
			{Name: "pontoon-radio", Role: inventory.Radio, At: inventory.PortRef{Device: "pontoon-switch", Port: "1"}},
			{Name: "rack-injector", Role: inventory.Injector},
		},
		Links: []inventory.RadioLink{{Name: "basin", Between: [2]string{"quay-radio", "pontoon-radio"}, Needs: 60e6}},
		Near:  inventory.Near{PortShare: 0.9, SupplyShare: 0.8},
	}
	plan.Index()
	snap := &inventory.Snapshot{Started: monday.Add(-15*time.Minute - 20*time.Second), Finished: monday.Add(-15 * time.Minute)}
	for _, d := range plan.Devices {
		s := inventory.SeenDevice{Name: d.Name, Planned: true, Role: d.Role, Presence: inventory.Present}
		if d.Role == inventory.Injector {
			s.Presence = inventory.Unseeable
		}
		snap.Devices = append(snap.Devices, s)
	}
	feed := func(port, device string, class inventory.Class, draw float64) {
		grant := class.Ratings().Output
		snap.Ports = append(snap.Ports, inventory.PortState{Switch: "quay-switch", Port: port, Planned: []string{device}, Power: &inventory.PortPower{
			State: inventory.PSEDelivering, Class: class, Draw: watts(draw), DrawBasis: inventory.Measured, Grant: &grant, Limit: &grant,
			LimitBasis: inventory.ByClass}})
	}
	feed("4", "office-ap", poe.Class4, 9.2)
	feed("5", "slip-cam", poe.Class3, 5.1)
	feed("6", "gate-cam", poe.Class3, 4.9)
	snap.Ports = append(snap.Ports, inventory.PortState{Switch: "quay-switch", Port: "7",
		Power: &inventory.PortPower{State: inventory.PSEDelivering, Class: poe.Class2}})
	snap.Supplies = []inventory.SupplyState{{Switch: "quay-switch", Supply: "1", Budget: watts(130), BudgetBasis: inventory.Measured, Used: watts(24.1)},
		{Switch: "rack-injector", Supply: "1", Budget: watts(24), BudgetBasis: inventory.Planned, Drawn: watts(7), DrawnBasis: inventory.Planned}}
	snap.Radios = []inventory.RadioState{{Device: "quay-radio", Link: "basin", Level: new(-61.0), Rate: new(inventory.BitRate(130e6))},
		{Device: "pontoon-radio", Link: "basin", Level: new(-63.0)}}
	snap.Networks = []inventory.NetworkState{{Name: "yard", Private: 3}, {Name: "cameras"}, {Name: "berths", Counted: 11}}
	snap.Coverage = inventory.CoverageList{{Subject: "quay-switch", Source: inventory.SourceSNMP, Result: inventory.Complete},
		{Subject: "slip-cam", Source: inventory.SourceSNMP, Result: inventory.Skipped, Why: "the plan has no access"}}
	in := digest.In{Plan: plan, Snapshot: snap, Now: monday, Since: monday.AddDate(0, 0, -7), Runs: digest.Runs{Complete: 671},
		History: &inventory.History{Previous: snap, Private: map[string]int{"yard": 3, "berths": 9}, Levels: map[string][]inventory.Level{}},
		Traffic: map[inventory.PortRef]inventory.Rates{{Device: "quay-switch", Port: "8"}: {In: 11.4e6, Out: 0.6e6, InPeak: 17.2e6, OutPeak: 1.1e6}}}
	for k := range 21 {
		d := time.Date(2026, 11, 2+k, 0, 0, 0, 0, dublin)
		in.History.Levels["quay-radio"] = append(in.History.Levels["quay-radio"], inventory.Level{Day: d, DBm: -61 - float64(k%2)})
	}
	addDraws(&in)
	return in
}

// addDraws gives the supply and the ports three weeks of peaks and a week of
// samples: lamps go on at dusk.
func addDraws(in *digest.In) {
	h := in.History
	h.Peaks, h.Supplies = map[inventory.PortRef][]inventory.Peak{}, map[inventory.SupplyRef][]inventory.Peak{}
	in.Samples = digest.Samples{Supplies: map[inventory.SupplyRef][]digest.Sample{}, Ports: map[inventory.PortRef][]digest.Sample{}}
	draw := func(base, lamp float64, t time.Time) inventory.Power {
		if hour := t.In(dublin).Hour(); hour < 7 || hour >= 17 {
			base += lamp
		}
		return *watts(base + 0.3*math.Sin(float64(t.Unix())/5000))
	}
	peaks := func(base, lamp float64) (out []inventory.Peak) {
		for k := range 21 {
			d := time.Date(2026, 11, 2+k, 0, 0, 0, 0, dublin)
			out = append(out, inventory.Peak{Day: d, At: d.Add(21*time.Hour + time.Duration(k)*time.Minute), Basis: inventory.Measured, Night: true,
				Draw: *watts(base + lamp + 0.6 + 0.2*math.Abs(math.Sin(float64(3*k))))})
		}
		return out
	}
	samples := func(base, lamp float64) (out []digest.Sample) {
		for at := in.Since; at.Before(in.Now); at = at.Add(15 * time.Minute) {
			out = append(out, digest.Sample{At: at, Draw: draw(base, lamp, at)})
		}
		return out
	}
	s := inventory.SupplyRef{Switch: "quay-switch", Supply: "1"}
	h.Supplies[s], in.Samples.Supplies[s] = peaks(24, 9), samples(24, 9)
	for _, p := range []struct {
		port       string
		base, lamp float64
	}{{"4", 9, 2}, {"5", 5, 3.5}, {"6", 4.8, 3.4}} {
		ref := inventory.PortRef{Device: "quay-switch", Port: p.port}
		h.Peaks[ref], in.Samples.Ports[ref] = peaks(p.base, p.lamp), samples(p.base, p.lamp)
	}
}

// busy is a week in which much happened.
func busy(t testing.TB) digest.In {
	t.Helper()
	in := quiet(t)
	opened := monday.Add(-30 * time.Hour)
	add := func(f diff.Finding, opened, cleared time.Time) {
		in.Episodes = append(in.Episodes, digest.Episode{Finding: f, Opened: opened, Cleared: cleared})
	}
	f := diff.New(diff.MissingDevice, "slip-cam")
	f.Where, f.Expected, f.Observed = "quay-switch/5", "slip-cam on port 5 of quay-switch",
		"no answer in 4 runs since Sun 22 Nov 02:00; port 5 of quay-switch has no link"
	f.Advice, f.Caution = "look at the camera's plug and cable first, then try it on a short cable in the office",
		"The camera hangs over the slip: no ladder in wind, never alone."
	add(f, opened, time.Time{})
	f = diff.New(diff.MissingDevice, "quay-radio")
	f.Behind, f.Observed, f.Advice = []string{"basin-cam", "pontoon-radio", "winter-cam"}, "no answer in 2 runs", "see whether its injector has power"
	f.Caution = "This lead carries passive 24 V: plug nothing else into it."
	add(f, monday.Add(-2*time.Hour), time.Time{})
	f = diff.New(diff.UnknownDevice, "00:00:5e:00:53:77")
	f.Severity, f.Where, f.Observed, f.Advice = diff.Urgent, "quay-switch/7",
		`on port 7 of quay-switch; address 203.0.113.140; calls itself "<b>printer</b>"`, "find out what it is, then take it into the plan or off the port"
	add(f, monday.Add(-50*time.Hour), time.Time{})
	f = diff.New(diff.PortPowerNear, "quay-switch/4")
	f.Basis, f.Expected, f.Observed = inventory.Measured, "at most 90 % of 30 W, which class 4 grants",
		"91 %: highest draw 27.4 W of 30 W, measured Sat 21 Nov 21:15"
	f.Advice = "before anything is added there, see what draws so much"
	add(f, monday.AddDate(0, 0, -16), time.Time{})
	f = diff.New(diff.LinkSlow, "quay-switch/8")
	f.Expected, f.Observed, f.Basis, f.Advice = "1 Gbit/s", "100 Mbit/s", inventory.Measured, "try another cable between injector and radio"
	add(f, monday.AddDate(0, 0, -3), time.Time{})
	add(diff.New(diff.Restarted, "office-ap"), monday.Add(-70*time.Hour), time.Time{})
	add(diff.New(diff.SupplyReserved, "quay-switch supply 1"), monday.AddDate(0, -2, 0), time.Time{})
	add(diff.New(diff.MissingDevice, "gate-cam"), monday.AddDate(0, 0, -5), monday.AddDate(0, 0, -5).Add(95*time.Minute))
	for k := range 3 {
		add(diff.New(diff.HalfDuplex, "quay-switch/3"), monday.AddDate(0, 0, -4).Add(time.Duration(k)*time.Hour),
			monday.AddDate(0, 0, -4).Add(time.Duration(k)*time.Hour+20*time.Minute))
	}
	in.Episodes = append(in.Episodes, digest.Episode{Finding: diff.New(diff.ClockOff, "recorder"), Opened: monday.AddDate(0, 0, -9), Hushed: true,
		Until: monday.AddDate(0, 0, 7), Why: "waits for the installer"})
	in.History.Outages = []inventory.Outage{{From: monday.AddDate(0, 0, -2).Add(-4 * time.Hour),
		To: monday.AddDate(0, 0, -2).Add(-145 * time.Minute), What: "internet"}}
	in.Letters = []digest.Letter{{Kind: "digest", Queued: monday.AddDate(0, 0, -7), State: "failed", Words: "mail.example.net: RCPT: 550 5.7.1 relaying denied"}}
	in.Notices = []string{"The plan file has been wrong since Fri 20 Nov 10:12 (line 14): the last good one is in use."}
	in.Snapshot.Coverage = append(in.Snapshot.Coverage,
		inventory.Coverage{Subject: "quay-switch", Table: "LLDP-MIB", Source: inventory.SourceSNMP, Result: inventory.Partial, Why: "silence half way"},
		inventory.Coverage{Subject: "quay-switch", Table: "BRIDGE-MIB", Source: inventory.SourceSNMP, Result: inventory.Partial, Why: "silence half way"},
		inventory.Coverage{Subject: "rack-ups", Source: inventory.SourceSNMP, Result: inventory.NoAnswer,
			Why: "no response: it is off, filtered, has no agent, or the community is wrong"})
	in.Snapshot.Devices[4].Presence, in.Snapshot.Devices[6].Presence, in.Snapshot.Devices[7].Presence = inventory.Absent, inventory.Absent, inventory.NotLooked
	in.Snapshot.Devices = append(in.Snapshot.Devices, inventory.SeenDevice{Name: "00:00:5e:00:53:77", Presence: inventory.Present})
	s := inventory.SupplyRef{Switch: "quay-switch", Supply: "1"}
	for k := range in.History.Supplies[s] { // it grows, and the last day is high
		in.History.Supplies[s][k].Draw += *watts(2.2 * float64(k))
	}
	return in
}
