package diff_test

import (
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/cable"
	"boundwalk/inventory/planfile"
	"boundwalk/inventory/poe"
)

// parse reads a plan as people write it; {} stands for the usual head.
func parse(t *testing.T, text string) *inventory.Plan {
	t.Helper()
	head := "site: {name: Tern Quay, timezone: UTC}\nnetworks:\n  yard: {subnet: 203.0.113.0/25, gateway: 203.0.113.1}\n"
	f, err := planfile.Parse("plan.yaml", []byte(head+text))
	if err != nil {
		t.Fatal(err)
	}
	return f.Plan
}

// Pieces of the plans below.
const (
	aSwitch    = "  sw: {role: switch, address: 203.0.113.2, ports: 10, feeds: 802.3at, budget: 130 W}\n"
	aCable     = ", cable: {gauge: 23 AWG, conductor: copper, length: "
	aDish      = "role: radio, draws: {most: 7 W}, takes: {passive: 24 V, plus: [4, 5], minus: [7, 8]}"
	anInjector = "  inj: {role: injector, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, budget: 24 W}\n"
)

var paperCases = []struct {
	name, devices string // below "devices:" of the plan
	want          []string
	severity      diff.Severity
	says          []string // of the first finding: planned and found
}{
	{"a plan that is right",
		aSwitch + "  cam: {role: camera, class: 3, draws: {most: 11 W}, at: sw/5" + aCable + "62 m}}\n",
		nil, "", nil},
	{"passive gear on a port that asks",
		aSwitch + "  dish: {" + aDish + ", at: sw/8" + aCable + "24 m}}\n",
		[]string{"passive-hazard/dish"}, diff.Urgent, []string{"a passive one does not"}},
	{"the wrong polarity",
		aSwitch + "  inj: {role: injector, feeds: {passive: 24 V, plus: [7, 8], minus: [4, 5]}, budget: 24 W}\n" +
			"  dish: {" + aDish + ", at: sw/8, via: inj" + aCable + "24 m}}\n",
		[]string{"passive-hazard/dish"}, diff.Urgent, []string{"plus on 7,8"}},
	{"48 V for a 24 V device",
		aSwitch + "  inj: {role: injector, feeds: {passive: 48 V, plus: [4, 5], minus: [7, 8]}, budget: 24 W}\n" +
			"  dish: {" + aDish + ", at: sw/8, via: inj" + aCable + "24 m}}\n",
		[]string{"passive-hazard/dish"}, diff.Urgent, []string{"48 V"}},
	{"a device that negotiates on a live lead",
		aSwitch + "  inj: {role: injector, feeds: {passive: 54 V, plus: [4, 5], minus: [7, 8]}, budget: 24 W}\n" +
			"  cam: {role: camera, class: 3, at: sw/8, via: inj" + aCable + "24 m}}\n",
		[]string{"passive-hazard/cam"}, diff.Urgent, []string{"negotiates"}},
	{"a printer on a live lead",
		aSwitch + anInjector +
			"  printer: {role: printer, mains: mains, at: sw/8, via: inj}\n",
		[]string{"passive-hazard/printer"}, diff.Urgent, []string{"takes no power"}},
	{"nothing feeds it",
		"  router: {role: router, address: 203.0.113.1, ports: 4}\n" +
			"  ap: {role: access-point, class: 4, at: router/1}\n",
		[]string{"passive-hazard/ap"}, diff.Warning, []string{"names nothing that feeds it"}},
	{"a larger device on a smaller port",
		"  sw: {role: switch, ports: 4, feeds: 802.3af, budget: 60 W}\n" +
			"  ap: {role: access-point, class: 4, draws: {most: 17 W}, at: sw/1" + aCable + "10 m}}\n",
		[]string{"over-budget/ap"}, diff.Urgent, []string{"at most 15.4 W", "17.1 W at the port"}},
	{"the cable cannot deliver it",
		"  inj: {role: injector, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, budget: 60 W}\n" +
			"  sw: {role: switch, ports: 4}\n" +
			"  dish: {role: radio, draws: {most: 24 W}, takes: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, at: sw/1, via: inj" + aCable + "95 m}}\n",
		[]string{"voltage-low/dish"}, diff.Urgent, []string{"cannot deliver that much over 95 m of 23 AWG"}},
	{"too few volts for its maker",
		anInjector +
			"  sw: {role: switch, ports: 4}\n" +
			"  dish: {" + aDish + ", min_voltage: 22.5 V, at: sw/1, via: inj" + aCable + "90 m}}\n",
		[]string{"voltage-low/dish"}, diff.Urgent, []string{"at least 22.5 V", "21."}},
	{"how long the cable is nobody says",
		anInjector +
			"  sw: {role: switch, ports: 4}\n" +
			"  dish: {" + aDish + ", min_voltage: 22.5 V, at: sw/1, via: inj}\n",
		nil, "", nil},
	{"more current than a wire may carry",
		"  inj: {role: injector, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, budget: 60 W}\n" +
			"  sw: {role: switch, ports: 4}\n" +
			"  dish: {role: radio, draws: {most: 38 W}, takes: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, at: sw/1, via: inj" + aCable + "5 m}}\n",
		[]string{"over-current/dish"}, diff.Urgent, []string{"0.75 A"}},
	{"an injector beyond its budget",
		"  inj: {role: injector, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, budget: 12 W}\n" +
			"  little: {role: pass-through-switch, via: inj, own: 2 W, ports: 3, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}" + aCable + "5 m}}\n" +
			"  dish: {" + aDish + ", at: little/1" + aCable + "2 m}}\n" +
			"  dish-2: {" + aDish + ", at: little/2" + aCable + "2 m}}\n",
		[]string{"over-budget/inj", "over-budget/little"}, diff.Urgent, []string{"at most 12 W", "16."}},
	{"a reserve that runs out before the draw does",
		"  sw: {role: switch, ports: 8, feeds: 802.3at, budget: 65 W}\n" +
			"  cam-1: {role: camera, class: 3, draws: {most: 6 W}, at: sw/1}\n" +
			"  cam-2: {role: camera, class: 3, draws: {most: 6 W}, at: sw/2}\n" +
			"  cam-3: {role: camera, class: 3, draws: {most: 6 W}, at: sw/3}\n" +
			"  cam-4: {role: camera, class: 3, draws: {most: 6 W}, at: sw/4}\n" +
			"  cam-5: {role: camera, class: 3, draws: {most: 6 W}, at: sw/5}\n",
		[]string{"no-room/cam-5"}, diff.Urgent, []string{"77 W reserved by-class"}},
	{"the same switch reserves by use",
		"  sw: {role: switch, ports: 8, feeds: 802.3at, budget: 65 W, reserves: by-use}\n" +
			"  cam-1: {role: camera, class: 3, draws: {most: 6 W}, at: sw/1}\n" +
			"  cam-2: {role: camera, class: 3, draws: {most: 6 W}, at: sw/2}\n" +
			"  cam-3: {role: camera, class: 3, draws: {most: 6 W}, at: sw/3}\n" +
			"  cam-4: {role: camera, class: 3, draws: {most: 6 W}, at: sw/4}\n" +
			"  cam-5: {role: camera, class: 3, draws: {most: 6 W}, at: sw/5}\n",
		nil, "", nil},
	{"a switch beyond its budget",
		"  sw: {role: switch, ports: 8, feeds: 802.3at, budget: 30 W}\n" +
			"  a: {role: access-point, class: 4, draws: {most: 20 W}, at: sw/1}\n" +
			"  b: {role: access-point, class: 4, draws: {most: 20 W}, at: sw/2}\n",
		[]string{"over-budget/sw"}, diff.Urgent, []string{"at most 30 W"}},
	{"an address of elsewhere",
		"  cam: {role: camera, address: 198.51.100.7, mains: mains}\n",
		[]string{"address-outside/cam"}, diff.Urgent, []string{"198.51.100.7"}},
	{"a camera at the gateway's address",
		"  cam: {role: camera, address: 203.0.113.1, mains: mains}\n",
		[]string{"double-assignment/203.0.113.1"}, diff.Urgent, []string{"the gateway of yard"}},
	{"a spare port in use",
		"  sw: {role: switch, ports: 8, spare: [7]}\n" +
			"  srv: {role: server, at: sw/7, mains: mains}\n",
		[]string{"double-assignment/port 7 of sw"}, diff.Urgent, []string{"the spare ports"}},
	{"a disk that is too small",
		"  rec: {role: recorder, recording: {disk: 2 TB, keep: 30 days}, mains: mains}\n" +
			"  cam: {role: camera, stream: 16 Mbit/s, mains: mains}\n",
		[]string{"recording-short/rec"}, diff.Warning, []string{"30 days", "11.6 days on 2 TB"}},
	{"a UPS that is too small",
		"  ups: {role: ups, load: {rated: 100 W}}\n" +
			"  srv: {role: server, draws: {most: 120 W}, mains: ups}\n",
		[]string{"over-budget/ups"}, diff.Urgent, []string{"at most 100 W"}},
}

func TestPaper(t *testing.T) {
	for _, c := range paperCases {
		t.Run(c.name, func(t *testing.T) {
			fs := diff.Paper(parse(t, "devices:\n"+c.devices))
			want(t, fs, c.want...)
			if len(fs) == 0 {
				return
			}
			tells(t, fs[0].Expected+" | "+fs[0].Observed, c.says...)
			if c.severity != "" && fs[0].Severity != c.severity {
				t.Errorf("severity %s", say(fs[0]))
			}
			if !fs[0].Since.IsZero() || fs[0].Basis != inventory.Planned {
				t.Errorf("paper has no date and one basis: %+v", fs[0])
			}
			if strings.HasPrefix(c.want[0], "passive-hazard/dish") && fs[0].Caution != poe.CautionPassive {
				t.Errorf("no caution: %s", say(fs[0]))
			}
		})
	}
}

// The figures of a line fit one another: what the device takes and what the
// cable loses is what the port gives, and volts and amperes come to the watts.
func TestPortLines(t *testing.T) {
	s := diff.PaperLines(parse(t, "devices:\n"+
		"  sw: {role: switch, ports: 10, feeds: 802.3at, budget: 130 W}\n"+
		"  cam: {role: camera, class: 3, draws: {most: 11 W}, at: sw/5, cable: {gauge: 23 AWG, conductor: copper, length: 62 m}}\n"+
		"  ap: {role: access-point, class: 4, at: sw/6}\n"))
	cam, ap := s.Ports[0], s.Ports[1]
	if math.Abs(cam.Volts*cam.Amps-11) > 1e-6 || math.Abs(11+cam.Loss-cam.AtPort.Watts()) > 0.001 || cam.Assumed || cam.Limit != 15400 {
		t.Errorf("%+v", cam)
	}
	// The circuit solved anew: 50 V through 62 m out and 62 m back, two wires each way.
	r := 62 * cable.Gauge(23).ConductorOhms(cable.Copper, cable.AssumedCelsius)
	v := (50 + math.Sqrt(50*50-4*r*11)) / 2
	if math.Abs(cam.Volts-v) > 1e-9 {
		t.Errorf("%.6f V at the camera, want %.6f", cam.Volts, v)
	}
	// A cable of which nothing is known is the standard's worst: class 4 gets 42.5 V (IEEE 802.3 class table).
	if math.Abs(ap.Volts-42.5) > 0.001 || !ap.Assumed || !ap.ByClass || ap.AtPort != 30*poe.Watt {
		t.Errorf("%+v", ap)
	}
	sup := s.Supplies[0]
	if sup.Reserved != 45400 || sup.Method != "by-class" || sup.Left != 130*poe.Watt-45400 {
		t.Errorf("%+v", sup)
	}
}

// A small switch that hands 24 V on: each device gets what all of them leave.
func TestPassThroughChain(t *testing.T) {
	plan := parse(t, "devices:\n"+
		"  inj: {role: injector, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, budget: 24 W}\n"+
		"  little: {role: pass-through-switch, via: inj, own: 2 W, ports: 3, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, cable: {gauge: 23 AWG, conductor: copper, length: 20 m}}\n"+
		"  dish: {role: radio, draws: {most: 7 W}, takes: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, at: little/1, cable: {gauge: 23 AWG, conductor: copper, length: 10 m}}\n"+
		"  stub: {role: camera, draws: {most: 4 W}, takes: {passive: 24 V, plus: [4, 5], minus: [7, 8]}, at: little/2, cable: {gauge: 23 AWG, conductor: copper, length: 15 m}}\n")
	want(t, diff.Paper(plan))
	s := diff.PaperLines(plan)
	byName := map[string]diff.PortLine{}
	for _, l := range s.Ports {
		byName[l.Device] = l
	}
	little, dish, stub := byName["little"], byName["dish"], byName["stub"]
	loss := little.Loss + dish.Loss + stub.Loss
	if got := little.AtPort.Watts(); math.Abs(got-(2+7+4+loss)) > 0.002 {
		t.Errorf("the injector gives %.3f W, want 13 W and the losses of %.3f W", got, loss)
	}
	if !(dish.Volts < little.Volts && stub.Volts < little.Volts && little.Volts < 24) || math.Abs(dish.Volts*dish.Amps-7) > 1e-6 {
		t.Errorf("volts %v at the switch, %v at the dish, %v at the camera", little.Volts, dish.Volts, stub.Volts)
	}
	for _, sup := range s.Supplies {
		switch sup.Device {
		case "inj":
			if sup.Drawn != little.AtPort || sup.Left != 24*poe.Watt-little.AtPort {
				t.Errorf("%+v", sup)
			}
		case "little": // 24 W less the cable's loss and its own 2 W
			if !sup.Computed || sup.Budget >= 22*poe.Watt || sup.Budget < 20*poe.Watt {
				t.Errorf("%+v", sup)
			}
		}
	}
}

func TestRecordingLines(t *testing.T) {
	s := diff.PaperLines(parse(t, "devices:\n"+
		"  rec: {role: recorder, recording: {disk: 4 TB, keep: 14 days}, mains: mains}\n"+
		"  a: {role: camera, stream: 4 Mbit/s, mains: mains}\n"+
		"  b: {role: camera, stream: 4 Mbit/s, mains: mains}\n"+
		"  c: {role: camera, stream: 4 Mbit/s, mains: mains}\n"+
		"  d: {role: camera, stream: 4 Mbit/s, mains: mains}\n"))
	l := s.Recordings[0] // 16 Mbit/s are 172.8 GB a day; 4 TB keep them 23.1481 days; 26.455 Mbit/s keep 14 days, so two more fit
	if l.PerDay != 172.8e9 || math.Abs(l.Kept-23.1481) > 0.0001 || l.More != 2 || l.Cameras != 4 {
		t.Errorf("%+v", l)
	}
}

func TestUPSLine(t *testing.T) {
	s := diff.PaperLines(parse(t, "devices:\n"+
		"  ups: {role: ups, load: {rated: 600 W}}\n"+
		"  srv: {role: server, draws: {most: 85 W}, mains: ups}\n"+
		"  box: {role: server, mains: ups}\n"))
	// 85 W at the 85 % that a supply makes of what it takes are 100 W.
	if u := s.UPSes[0]; u.Load != 100*poe.Watt || !u.Summed || len(u.Unknown) != 1 || u.Unknown[0] != "box" {
		t.Errorf("%+v", u)
	}
}

// The example plan has no fault on paper.
func TestExamplePlan(t *testing.T) {
	text, err := os.ReadFile("../deploy/example/plan.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, err := planfile.Parse("plan.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	want(t, diff.Paper(f.Plan))
}

func TestFit(t *testing.T) {
	const five = "devices:\n" +
		"  sw: {role: switch, ports: 8, feeds: 802.3at, budget: 65 W}\n" +
		"  cam-1: {role: camera, class: 3, draws: {most: 6 W}, at: sw/1}\n" +
		"  cam-2: {role: camera, class: 3, draws: {most: 6 W}, at: sw/2}\n" +
		"  cam-3: {role: camera, class: 3, draws: {most: 6 W}, at: sw/3}\n"
	const four = five + "  cam-4: {role: camera, class: 3, draws: {most: 6 W}, at: sw/4}\n"
	at := func(s string) inventory.PortRef { return inventory.ParsePortRef(s) }
	passive := inventory.Feed{Standard: poe.Passive, Volts: 24, Plus: 0b11000, Minus: 0b11000000}
	for _, c := range []struct {
		name    string
		plan    string
		add     diff.Candidate
		fits    bool
		known   bool
		against []string
		forIt   []string
	}{
		{"it fits", five, diff.Candidate{Role: inventory.Camera, Class: poe.Class3, At: at("sw/5"), Length: 40}, true, true, nil,
			[]string{"46.2 W are reserved by-class", "it needs 15.4 W"}},
		{"FC-02: no more room, whatever is drawn", four, diff.Candidate{Role: inventory.Camera, Class: poe.Class3, At: at("sw/5")}, false, true,
			[]string{"61.6 W are reserved", "12 W are missing"}, nil},
		{"a class 1 device would not fit either: 3.4 W are free", four, diff.Candidate{Role: inventory.Sensor, Class: poe.Class1, At: at("sw/5")},
			false, true, []string{"0.6 W are missing"}, nil},
		{"by its watts", five, diff.Candidate{Role: inventory.AccessPoint, Watts: 5 * poe.Watt, At: at("sw/5")}, true, true, nil, []string{"it needs 7 W"}},
		{"no such switch", five, diff.Candidate{Class: poe.Class3, At: at("shed/5")}, false, true, []string{"no device"}, nil},
		{"no such port", five, diff.Candidate{Class: poe.Class3, At: at("sw/9")}, false, true, []string{"it has 1 to 8"}, nil},
		{"a port in use", five, diff.Candidate{Class: poe.Class3, At: at("sw/1")}, false, true, []string{"cam-1 on port 1 of sw already"}, nil},
		{"nobody knows what it takes", five, diff.Candidate{Role: inventory.Camera, At: at("sw/5")}, false, true, []string{"class or its watts"}, nil},
		{"passive gear on a port that asks", five, diff.Candidate{Role: inventory.Radio, Watts: 7 * poe.Watt, Passive: passive, At: at("sw/5"),
			Length: 10}, false, true, []string{"a passive one does not"}, nil},
		{"a switch without a budget", "devices:\n  sw: {role: switch, ports: 8, feeds: 802.3at}\n", diff.Candidate{Class: poe.Class3, At: at("sw/5")},
			false, false, []string{"no budget for sw"}, nil},
		{"a port that feeds nothing", "devices:\n  sw: {role: switch, ports: 8}\n", diff.Candidate{Class: poe.Class3, At: at("sw/5")}, false, true,
			[]string{"names nothing that feeds it"}, nil},
		{"the disk is full", "devices:\n" +
			"  sw: {role: switch, ports: 8, feeds: 802.3at, budget: 65 W}\n" +
			"  rec: {role: recorder, recording: {disk: 2 TB, keep: 14 days}, mains: mains}\n" +
			"  cam: {role: camera, stream: 8 Mbit/s, mains: mains}\n",
			diff.Candidate{Role: inventory.Camera, Class: poe.Class3, At: at("sw/5")}, false, true, []string{"11.6 days on 2 TB"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := diff.Fit(parse(t, c.plan), c.add)
			if a.Fits != c.fits || a.Known != c.known || a.Fits && len(a.Against) > 0 || !a.Fits && len(a.Against) == 0 {
				t.Errorf("%+v", a)
			}
			tells(t, strings.Join(a.Against, " "), c.against...)
			tells(t, strings.Join(a.For, " "), c.forIt...)
		})
	}
	t.Run("old faults do not count", func(t *testing.T) {
		plan := parse(t, five+"  lost: {role: camera, address: 198.51.100.7, mains: mains}\n")
		if a := diff.Fit(plan, diff.Candidate{Class: poe.Class3, At: at("sw/5")}); !a.Fits {
			t.Errorf("%+v", a)
		}
		if len(plan.Devices) != 5 {
			t.Error("the plan was changed")
		}
	})
}

// Peaks on a line reach the limit when the line says; scattered ones give a
// range that holds it; too few, a flat line and outliers give none.
func TestTrend(t *testing.T) {
	peaks := func(n int, draw func(day int) float64) []inventory.Peak {
		var ps []inventory.Peak
		for k := range n {
			ps = append(ps, inventory.Peak{Day: noon.Truncate(24*time.Hour).AddDate(0, 0, k), Draw: poe.FromWatts(draw(k)), Basis: inventory.Measured})
		}
		return ps
	}
	scatter := []float64{0, 0.4, -0.3, 0.2, -0.5, 0.1, 0.3, -0.2}
	line := func(day int) float64 { return 50 + float64(day)/7 } // 1 W a week
	noisy := func(day int) float64 { return line(day) + scatter[day%len(scatter)] }
	limit := 64 * poe.Watt // 14 W above the start: 14 weeks, less the days that went by

	f, ok := diff.Trend(peaks(28, line), limit)
	if weeks := 14 - 27.0/7; !ok || math.Abs(f.FromWeeks-weeks) > 0.1 || math.Abs(f.ToWeeks-weeks) > 0.1 || math.Abs(f.PerWeek.Watts()-1) > 0.01 {
		t.Errorf("a clean line: %+v, want %.2f weeks", f, weeks)
	}
	f, ok = diff.Trend(peaks(28, noisy), limit)
	if weeks := 14 - 27.0/7; !ok || !(f.FromWeeks < weeks && weeks < f.ToWeeks) || f.ToWeeks-f.FromWeeks < 0.3 {
		t.Errorf("a noisy line: %+v, want a range around %.2f", f, weeks)
	}
	outliers := func(day int) float64 {
		if day%9 == 4 {
			return 10
		}
		return line(day)
	}
	if f, ok = diff.Trend(peaks(28, outliers), limit); !ok || math.Abs(f.PerWeek.Watts()-1) > 0.05 {
		t.Errorf("three odd days moved the line: %+v", f)
	}
	for name, c := range map[string]struct {
		ps    []inventory.Peak
		limit inventory.Power
	}{
		"13 days":         {peaks(13, line), limit},
		"flat":            {peaks(28, func(int) float64 { return 50 }), limit},
		"only scatter":    {peaks(28, func(d int) float64 { return 50 + scatter[d%8] }), limit},
		"falling":         {peaks(28, func(d int) float64 { return 60 - float64(d)/7 }), limit},
		"too far off":     {peaks(14, line), 150 * poe.Watt},
		"no limit":        {peaks(28, line), 0},
		"the same day":    {peaks(1, line), limit},
		"nothing at all":  {nil, limit},
		"class, no draws": {[]inventory.Peak{{Day: noon, Draw: 5, Basis: inventory.ByClass}}, limit},
	} {
		if f, ok := diff.Trend(c.ps, c.limit); ok {
			t.Errorf("%s: %+v", name, f)
		}
	}
	if f, ok = diff.Trend(peaks(28, line), 52*poe.Watt); !ok || f.FromWeeks != 0 || f.ToWeeks != 0 {
		t.Errorf("reached already: %+v, %v", f, ok)
	}
}
