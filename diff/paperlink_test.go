package diff_test

import (
	"math"
	"testing"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/radio"
)

// airLink is a plan with one radio link over 300 m, edited.
func airLink(edit func(*inventory.RadioLink)) *inventory.Plan {
	plan, limit := basin(), 30.0
	plan.Links[0] = inventory.RadioLink{Name: "basin", Between: [2]string{"house-radio", "far-radio"},
		Distance: 300, Frequency: 5500, Width: 20, Standard: "ac", Streams: 1,
		TxPower: 14, Gain: [2]float64{16, 16}, EIRPLimit: &limit, PortSpeed: [2]inventory.BitRate{1e9, 1e9}}
	edit(&plan.Links[0])
	return plan
}

func TestPaperLinks(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*inventory.RadioLink)
		want []string
		says string
	}{
		{"sound", func(*inventory.RadioLink) {}, nil, ""},
		{"0.5 dB beyond the plan's limit", func(l *inventory.RadioLink) { l.TxPower = 14.5 }, []string{"radiated-power/basin"}, "30.5 dBm"},
		{"more than it carries", func(l *inventory.RadioLink) { l.Needs = 60e6 }, []string{"load-over-link/basin"}, "60 Mbit/s to carry"},
		{"too far for any rate", func(l *inventory.RadioLink) { l.Distance = 9000 }, []string{"link-margin-low/basin"}, "no rate has it"},
		{"an obstacle in the way", func(l *inventory.RadioLink) { l.Obstacle, l.Clearance = 150, 0.2 }, []string{"link-margin-low/basin"},
			"1.0 m of free height are missing"},
		{"the cable side bounds it", func(l *inventory.RadioLink) {
			l.Needs, l.Standard, l.PortSpeed = 95e6, "", [2]inventory.BitRate{1e9, 100e6}
		}, []string{"load-over-link/basin"}, "95 Mbit/s to carry"},
		{"a wall that nobody knows", func(l *inventory.RadioLink) { l.Through = []string{"unobtainium wall"} }, []string{"link-margin-low/basin"}, "unobtainium"},
	} {
		t.Run(c.name, func(t *testing.T) {
			fs := diff.Paper(airLink(c.edit))
			want(t, fs, c.want...)
			if len(fs) > 0 {
				tells(t, fs[0].Observed, c.says)
			}
		})
	}
	t.Run("two that share a channel", func(t *testing.T) {
		plan := airLink(func(*inventory.RadioLink) {})
		plan.Devices = append(plan.Devices, onPort("r3", inventory.Radio, 0x53, "sw/7"), onPort("r4", inventory.Radio, 0x54, ""))
		other := plan.Links[0]
		other.Name, other.Between, other.Frequency = "yard", [2]string{"r3", "r4"}, 5510
		plan.Links = append(plan.Links, other)
		fs := diff.Paper(plan)
		want(t, fs, "channel-overlap/yard")
		tells(t, fs[0].Observed, "10 MHz shared with the link basin")
		plan.Links[1].Frequency = 5540
		want(t, diff.Paper(plan))
	})
	t.Run("caution", func(t *testing.T) {
		tells(t, diff.Paper(airLink(func(l *inventory.RadioLink) { l.TxPower = 20 }))[0].Caution, radio.CautionLimits)
	})
}

func TestPaperLinkFigures(t *testing.T) {
	l := diff.PaperLines(airLink(func(*inventory.RadioLink) {})).Links[0]
	// Free space at 300 m and 5500 MHz by the formula of ITU-R P.525; its level is
	// what it leaves of 14 dBm and twice 16 dBi.
	fsl := 20*math.Log10(0.3) + 20*math.Log10(5500) + 32.4478
	if math.Abs(l.FreeSpace-fsl) > 0.01 || math.Abs(l.Levels[0]-(46-fsl)) > 0.01 || l.Levels[0] != l.Levels[1] {
		t.Errorf("free space %.3f, level %.3f, want %.3f and %.3f", l.FreeSpace, l.Levels[0], fsl, 46-fsl)
	}
	// 0.6 of the first zone at the middle, 550 sqrt(d1 d2 / (d f)) by ITU-R P.526.
	if f := 0.6 * 550 * math.Sqrt(0.15*0.15/(0.3*5500)); math.Abs(l.Fresnel-f) > 0.02 {
		t.Errorf("clearance %.3f m, want %.3f", l.Fresnel, f)
	}
	if l.Usable != l.AirRate/2 || l.Margin < 10 || l.Bounded != "air" {
		t.Errorf("%+v", l)
	}
}

// The streams behind a link are its load, overhead included: three cameras of 4
// Mbit/s come to 12.6 Mbit/s.
func TestLinkCarriesStreams(t *testing.T) {
	plan := basin()
	for n := range byte(3) {
		cam := camera("cam-"+string('a'+n), 0x60+n, "far-radio/"+string('1'+n))
		cam.Mains, cam.Stream = "mains", 4e6
		plan.Devices = append(plan.Devices, cam)
	}
	near := camera("house-cam", 0x70, "sw/1")
	near.Mains, near.Stream = "mains", 4e6
	plan.Devices = append(plan.Devices, near, onPort("rec", inventory.Recorder, 0x10, "sw/2"))
	if l := diff.PaperLines(plan).Links[0]; l.Load != 12.6e6 {
		t.Errorf("load %s, want 12.6 Mbit/s", l.Load)
	}
	plan.Devices[len(plan.Devices)-1].At = inventory.ParsePortRef("far-radio/9")
	if l := diff.PaperLines(plan).Links[0]; l.Load != 4.2e6 {
		t.Errorf("with the recorder on the far side %s, want 4.2 Mbit/s", l.Load)
	}
}
