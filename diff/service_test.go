package diff_test

import (
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
	"boundwalk/inventory/ups"
)

// counted gives a port two readings, d apart, with the given octets between.
func counted(s *inventory.Snapshot, h *inventory.History, ref string, d time.Duration, in, out uint64) *inventory.PortState {
	p := port(s, ref)
	p.Speed = 1e9
	p.Counters.Wide, p.Counters.In, p.Counters.Out = true, new(1000+in), new(2000+out)
	was := *p
	was.Counters.Read, was.Counters.In, was.Counters.Out = s.Finished.Add(-d), new(uint64(1000)), new(uint64(2000))
	if h.Counters == nil {
		h.Counters = map[inventory.PortRef]inventory.CounterBase{}
	}
	h.Counters[inventory.ParsePortRef(ref)] = inventory.CounterBase{Last: was}
	return p
}

const quarter = 15 * time.Minute

// octets is what a rate comes to in a quarter of an hour.
func octets(r inventory.BitRate) uint64 { return uint64(float64(r) / 8 * quarter.Seconds()) }

func TestNoStream(t *testing.T) {
	for _, c := range []struct {
		name string
		rate inventory.BitRate
		edit func(*inventory.Plan, *inventory.Snapshot, *inventory.PortState)
		want []string
	}{
		{"it streams", 3.9e6, nil, nil},
		{"a still scene", 0.5e6, nil, nil},
		{"next to nothing", 0.3e6, nil, []string{"no-stream/cam"}},
		{"it records on motion alone", 0.3e6, func(p *inventory.Plan, _ *inventory.Snapshot, _ *inventory.PortState) { p.Devices[1].Duty = 0.3 }, nil},
		{"it is not there", 0, func(_ *inventory.Plan, s *inventory.Snapshot, _ *inventory.PortState) { lose(s, "cam") }, nil},
		{"32 bits may have wrapped", 0.3e6, func(_ *inventory.Plan, _ *inventory.Snapshot, p *inventory.PortState) { p.Counters.Wide = false }, nil},
		{"the counters began anew", 0.3e6, func(_ *inventory.Plan, _ *inventory.Snapshot, p *inventory.PortState) {
			p.Counters.In = new(uint64(10))
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			cam := camera("cam", 5, "sw/5")
			cam.Stream = 4e6
			plan := site(theSwitch(8), cam, onPort("rec", inventory.Recorder, 0x10, "sw/1"))
			s, h := seen(plan, noon), &inventory.History{}
			counted(s, h, "sw/1", quarter, 0, octets(0.2e6))
			p := counted(s, h, "sw/5", quarter, octets(c.rate), 0)
			if c.edit != nil {
				c.edit(plan, s, p)
			}
			fs := diff.Audit(plan, s, h, noon)
			want(t, fs, c.want...)
			for _, f := range fs {
				tells(t, f.Observed, "300 kbit/s from it", "rec takes 200 kbit/s of 4 Mbit/s planned")
			}
		})
	}
}

func TestLinkLoad(t *testing.T) {
	plan := basin()
	run := func(rate inventory.BitRate, air *inventory.BitRate, open bool) []diff.Finding {
		s, h := seen(plan, noon), &inventory.History{}
		counted(s, h, "sw/8", quarter, octets(rate), octets(1e6))
		s.Radios = []inventory.RadioState{{Device: "house-radio", Link: "basin", Rate: air}}
		if open {
			h.Open = map[string]inventory.Episode{"link-load-near/basin": {}}
		}
		return diff.Audit(plan, s, h, noon)
	}
	// 78 Mbit/s in the air carry 39 of data (half of it), of which 70 % are 27.3.
	air := new(inventory.BitRate(78e6))
	want(t, run(26e6, air, false))
	fs := run(27e6, air, false)
	want(t, fs, "link-load-near/basin")
	tells(t, fs[0].Expected, "70 % of 39 Mbit/s, half of the 78 Mbit/s that the air has")
	tells(t, fs[0].Observed, "72 %: 28 Mbit/s both ways together")
	want(t, run(25e6, air, true), "link-load-near/basin") // within the band
	want(t, run(24e6, air, true))
	want(t, run(500e6, nil, false)) // on paper its gigabit cable sides carry 900
	want(t, run(700e6, nil, false), "link-load-near/basin")
}

func TestUplinkLoad(t *testing.T) {
	plan := site(theSwitch(8), onPort("far-switch", inventory.Switch, 3, "sw/8"), onPort("srv", inventory.Server, 4, "sw/7"))
	s, h := seen(plan, noon), &inventory.History{}
	counted(s, h, "sw/8", quarter, octets(640e6), octets(10e6)) // of the 900 that a gigabit port carries, 71 %
	counted(s, h, "sw/7", quarter, octets(900e6), 0)            // a server may
	fs := diff.Audit(plan, s, h, noon)
	want(t, fs, "link-load-near/sw/8")
	tells(t, fs[0].Observed, "71 %")
}

func TestRecorderDisk(t *testing.T) {
	cam := camera("cam", 5, "sw/5")
	cam.Stream = 16e6
	rec := onPort("rec", inventory.Recorder, 0x10, "sw/1")
	rec.Recording = inventory.Recording{Disk: 4e12, Keep: 14 * 24 * time.Hour}
	plan := site(theSwitch(8), cam, rec)
	s := seen(plan, noon)
	s.Disks = []inventory.DiskState{{Device: "rec", Name: "/a", Size: 2e12}, {Device: "rec", Name: "/b", Size: 2e12}}
	want(t, diff.Audit(plan, s, nil, noon))
	s.Disks = s.Disks[:1] // 2 TB at 16 Mbit/s: 11.6 days
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "recording-short/rec")
	tells(t, fs[0].Expected, "14 days kept on 4 TB")
	tells(t, fs[0].Observed, "11.6 days", "2 TB")
}

func TestClocks(t *testing.T) {
	plan := site(theSwitch(8), camera("cam-1", 0x31, "sw/1"), camera("cam-2", 0x32, "sw/2"), camera("cam-3", 0x33, "sw/3"),
		onPort("rec", inventory.Recorder, 0x10, "sw/4"))
	clock := func(device string, off, sure time.Duration) inventory.ClockState {
		return inventory.ClockState{Device: device, Source: "sntp", Offset: off, Sure: sure}
	}
	for _, c := range []struct {
		name   string
		clocks []inventory.ClockState
		want   []string
		says   string
	}{
		{"close enough", []inventory.ClockState{clock("cam-1", 2*time.Minute, 0)}, nil, ""},
		{"off", []inventory.ClockState{clock("cam-1", -3*time.Minute, time.Second)}, []string{"clock-off/cam-1"}, "3 min slow, read by sntp"},
		{"perhaps off", []inventory.ClockState{clock("cam-1", 3*time.Minute, 90*time.Second)}, nil, ""},
		{"the surest reading counts", []inventory.ClockState{clock("cam-1", 5*time.Minute, time.Minute), clock("cam-1", 10*time.Second, time.Millisecond)}, nil, ""},
		{"an hour", []inventory.ClockState{clock("cam-1", time.Hour+time.Second, time.Second)}, []string{"clock-off/cam-1"}, "time zone or summer time"},
		{"ours", []inventory.ClockState{clock("cam-1", 5*time.Minute, 0), clock("cam-2", 5*time.Minute+20*time.Second, 0),
			clock("cam-3", 5*time.Minute-10*time.Second, 0), clock("rec", 0, 0)},
			[]string{"clock-off/this machine"}, "3 of 4 clocks agree with one another"},
		{"a device that no plan names", []inventory.ClockState{clock("stranger", time.Hour, 0)}, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := seen(plan, noon)
			s.Clocks = c.clocks
			fs := diff.Audit(plan, s, nil, noon)
			want(t, fs, c.want...)
			for _, f := range fs {
				tells(t, f.Observed, c.says)
			}
		})
	}
}

func TestUPS(t *testing.T) {
	u := onPort("rack-ups", inventory.UPS, 9, "sw/4")
	u.UPS = inventory.UPSPlan{Rated: 600 * poe.Watt, Runtime: 15 * time.Minute}
	plan := site(theSwitch(8), u)
	for _, c := range []struct {
		name    string
		reading inventory.UPSReading
		want    []string
	}{
		{"on mains", inventory.UPSReading{Source: "normal", Battery: "normal", OnBattery: new(time.Duration(0)), Runtime: new(40 * time.Minute),
			Charge: new(100), Load: new(30)}, nil},
		{"on battery", inventory.UPSReading{Source: "battery", Battery: "low", Runtime: new(5 * time.Minute), Charge: new(40)}, []string{"ups-on-battery/rack-ups"}},
		{"for some seconds", inventory.UPSReading{Source: "other", OnBattery: new(90 * time.Second)}, []string{"ups-on-battery/rack-ups"}},
		{"a bad battery", inventory.UPSReading{Source: "normal", Alarms: []string{"upsAlarmBatteryBad"}}, []string{"ups-battery/rack-ups"}},
		{"low on mains", inventory.UPSReading{Source: "normal", Battery: "low"}, []string{"ups-battery/rack-ups"}},
		{"not for as long as wanted", inventory.UPSReading{Source: "normal", Battery: "normal", Runtime: new(12 * time.Minute), Charge: new(100)},
			[]string{"ups-battery/rack-ups"}},
		{"still charging", inventory.UPSReading{Source: "normal", Battery: "normal", Runtime: new(12 * time.Minute), Charge: new(60)}, nil},
		{"near its load", inventory.UPSReading{Source: "normal", Load: new(85)}, []string{"supply-power-near/rack-ups"}},
		{"over it", inventory.UPSReading{Source: "normal", Load: new(110)}, []string{"supply-power-over/rack-ups"}},
		{"it says nothing", inventory.UPSReading{}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := seen(plan, noon)
			s.UPSes = []inventory.UPSState{{Device: "rack-ups", Reading: c.reading}}
			fs := diff.Audit(plan, s, nil, noon)
			want(t, fs, c.want...)
			if len(fs) > 0 && fs[0].Kind == diff.UPSBattery {
				tells(t, fs[0].Caution, ups.CautionBattery)
			}
		})
	}
}
