package radio_test

import (
	"math"
	"slices"
	"testing"

	"boundwalk/inventory/radio"
)

// The weeks of a level that sank over two months.
var weeks = []radio.DBm{-61, -62, -61, -63, -62, -64, -66, -69}

func TestLevelLowByWeeks(t *testing.T) {
	for i, today := range weeks {
		got := radio.LevelLow(weeks[:i], today, radio.LevelOptions{Days: 1})
		if got.Low != (i == 7) || !got.Known {
			t.Errorf("week %d: %+v", i+1, got)
		}
		if i == 6 && (got.Median != -62 || got.Down != 4) || i == 7 && (got.Median != -62 || got.Down != 7) {
			t.Errorf("week %d: %+v, want a median of -62", i+1, got)
		}
	}
}

func TestLevelLowByDays(t *testing.T) {
	var days []radio.DBm
	for _, level := range weeks {
		days = append(days, slices.Repeat([]radio.DBm{level}, 7)...)
	}
	for i, today := range days {
		got := radio.LevelLow(days[:i], today, radio.LevelOptions{})
		if want := i >= 7*7+2; got.Low != want { // the third day of week 8
			t.Errorf("day %d, %v dBm: %+v, want low %v", i+1, today, got, want)
		}
	}
}

func TestLevelLow(t *testing.T) {
	steady := slices.Repeat([]radio.DBm{-60}, 20)
	with := func(more ...radio.DBm) []radio.DBm { return append(slices.Clone(steady), more...) }
	nan := radio.DBm(math.NaN())
	for _, c := range []struct {
		name    string
		history []radio.DBm
		today   radio.DBm
		low     bool
		days    int
	}{
		{"one wet day passes", steady, -70, false, 1},
		{"two wet days pass", with(-70), -70, false, 2},
		{"three do not", with(-70, -70), -70, true, 3},
		{"6 dB down is low", with(-66, -66), -66, true, 3},
		{"just less is not", with(-65.9, -65.9), -65.9, false, 0},
		{"a good day between", with(-70, -60), -70, false, 1},
		{"an unknown day between is left out", with(-70, 0, -70, 5, nan), -70, true, 3},
		{"no history, under the floor", []radio.DBm{-71, -71}, -71, true, 3},
		{"the floor itself is not under it", []radio.DBm{-70, -70}, -70, false, 0},
		{"no history", nil, -71, false, 1},
		{"no median of two days", []radio.DBm{-50, -50, -60, -60}, -60, false, 0},
		{"a median of three", []radio.DBm{-50, -50, -50, -60, -60}, -60, true, 3},
	} {
		got := radio.LevelLow(c.history, c.today, radio.LevelOptions{})
		if !got.Known || got.Low != c.low || got.Days != c.days {
			t.Errorf("%s: %+v, want low %v after %d days", c.name, got, c.low, c.days)
		}
	}
	for _, unknown := range []radio.DBm{0, 5, -121, nan, radio.DBm(math.Inf(1)), radio.DBm(math.Inf(-1))} {
		if got := radio.LevelLow(with(-80, -80), unknown, radio.LevelOptions{}); got != (radio.LevelTrend{}) {
			t.Errorf("level %v: %+v, want unknown", unknown, got)
		}
	}
	history := []radio.DBm{-60, -50, -70, -55}
	if radio.LevelLow(history, -60, radio.LevelOptions{Days: 1}); !slices.Equal(history, []radio.DBm{-60, -50, -70, -55}) {
		t.Errorf("the history was changed: %v", history)
	}
	if got := radio.LevelLow(with(-64), -64, radio.LevelOptions{Drop: 4, Days: 2}); !got.Low {
		t.Errorf("own options: %+v", got)
	}
}

// Common practice: 6 dB under and 3 dB above.
func TestDeviation(t *testing.T) {
	for _, c := range []struct {
		measured, expected radio.DBm
		diff               radio.DB
		likely, ok         bool
	}{
		{-56, -50, -6, false, true}, {-57, -50, -7, true, true}, {-47, -50, 3, false, true}, {-46, -50, 4, true, true},
		{0, -50, 0, false, false}, {-50, 0, 0, false, false}, {radio.DBm(math.NaN()), -50, 0, false, false},
	} {
		diff, likely, ok := radio.Deviation(c.measured, c.expected)
		if diff != c.diff || (likely != "") != c.likely || ok != c.ok {
			t.Errorf("%v for %v: %v, %q, %v", c.measured, c.expected, diff, likely, ok)
		}
	}
}

func FuzzLevelLow(f *testing.F) {
	f.Add(-60.0, -61.0, -62.0, -70.0, 6.0, -70.0, 3)
	f.Add(math.NaN(), math.Inf(1), 0.0, math.Inf(-1), math.NaN(), math.NaN(), math.MinInt)
	f.Add(-120.0, -1e-300, -120.0, -0.5, math.Inf(1), math.Inf(-1), math.MaxInt)
	f.Fuzz(func(t *testing.T, a, b, c, today, drop, floor float64, days int) {
		history := []radio.DBm{radio.DBm(a), radio.DBm(b), radio.DBm(c), radio.DBm(a)}
		got := radio.LevelLow(history, radio.DBm(today), radio.LevelOptions{Drop: radio.DB(drop), Floor: radio.DBm(floor), Days: days})
		finite(t, got)
		if !got.Known && got != (radio.LevelTrend{}) {
			t.Errorf("unknown, yet %+v", got)
		}
		diff, _, _ := radio.Deviation(radio.DBm(today), radio.DBm(a))
		finite(t, diff)
	})
}
