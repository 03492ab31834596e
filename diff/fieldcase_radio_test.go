package diff_test

import (
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

func basin() *inventory.Plan {
	house, far := onPort("house-radio", inventory.Radio, 0x51, "sw/8"), onPort("far-radio", inventory.Radio, 0x52, "")
	plan := site(theSwitch(8), house, far)
	plan.Links = []inventory.RadioLink{{Name: "basin", Between: [2]string{"house-radio", "far-radio"}, Distance: 340, Frequency: 5500, Width: 20,
		PortSpeed: [2]inventory.BitRate{1e9, 1e9}}}
	return plan
}

// FC-25: a level that sank by 7 dB is told in the week when it did, and not one
// of 4 dB; a port at 100 Mbit/s is told on the cable side, and nothing of the radio.
func TestFC25SlowLink(t *testing.T) {
	plan := basin()
	weeks := []float64{-61, -62, -61, -63, -62, -64, -66, -69}
	run := func(days int) []diff.Finding {
		s := seen(plan, noon)
		h := &inventory.History{Levels: map[string][]inventory.Level{}}
		for k := range days {
			h.Levels["far-radio"] = append(h.Levels["far-radio"], inventory.Level{Day: noon.Truncate(24*time.Hour).AddDate(0, 0, k-days+1), DBm: weeks[k/7]})
		}
		s.Radios = []inventory.RadioState{{Device: "far-radio", Link: "basin", Level: new(weeks[(days-1)/7])}}
		return diff.Audit(plan, s, h, noon)
	}
	for days := 1; days <= 51; days++ { // to the second day of week 8: rain passes in two
		want(t, run(days))
	}
	fs := run(52)
	want(t, fs, "radio-level-low/far-radio")
	tells(t, fs[0].Observed, "-69 dBm today", "7 dB below")
	tells(t, fs[0].Caution, "ladders", "thunder", "transmitter")

	t.Run("the cable side", func(t *testing.T) {
		s := seen(plan, noon)
		port(s, "sw/8").Speed = 100e6
		s.Radios = []inventory.RadioState{{Device: "house-radio", Link: "basin", Level: new(-62.0)}}
		fs := diff.Audit(plan, s, nil, noon)
		want(t, fs, "link-slow/sw/8")
		tells(t, fs[0].Expected, "1 Gbit/s")
		tells(t, fs[0].Observed, "100 Mbit/s on port 8 of sw", "cable side of the radio link basin")
	})
	t.Run("planned so", func(t *testing.T) {
		plan := basin()
		plan.Links[0].PortSpeed = [2]inventory.BitRate{100e6, 100e6}
		s := seen(plan, noon)
		port(s, "sw/8").Speed = 100e6
		s.Radios = []inventory.RadioState{{Device: "house-radio", Rate: new(inventory.BitRate(162e6))}}
		want(t, diff.Audit(plan, s, nil, noon))
	})
	t.Run("levels that cannot be", func(t *testing.T) {
		for _, level := range []float64{0, 5} {
			s := seen(plan, noon)
			s.Radios = []inventory.RadioState{{Device: "house-radio", Level: &level}}
			want(t, diff.Audit(plan, s, nil, noon))
		}
	})
}
