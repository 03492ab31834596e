package radio

import "slices"

// LevelOptions says when a level counts as low. The zero value is the usual.
type LevelOptions struct {
	Drop  DB  // below the median; zero: 6 dB
	Floor DBm // low whatever the median; zero: -70 dBm
	Days  int // in a row; zero: 3, so that rain and wet leaves pass
}

// LevelTrend is a level held against its own past.
type LevelTrend struct {
	Known       bool // today has a level
	Low         bool // today and the known days before it, as many as Options.Days, are low
	Median      DBm  // of the days before those
	MedianKnown bool // there are at least three such days
	Down        DB   // today below the median; negative when above; zero without a median
	Days        int  // known days in a row, today the last, that are low
}

const medianNeeds = 3

// LevelLow judges today's median against the daily medians before it, the
// oldest first, with which the caller sets the window: eight weeks see a
// season coming. Unknown days are left out. The days that are judged never
// count into their own median. A level of zero or above, below -120 dBm (under
// the noise of any channel) or NaN is unknown, since agents say 0 for no value.
func LevelLow(history []DBm, today DBm, o LevelOptions) LevelTrend {
	if o.Drop <= 0 || o.Drop != o.Drop {
		o.Drop = 6
	}
	if o.Floor >= 0 || o.Floor != o.Floor {
		o.Floor = -70
	}
	if o.Days <= 0 {
		o.Days = 3
	}
	if !levelKnown(today) {
		return LevelTrend{}
	}
	var days []DBm
	for _, l := range history {
		if levelKnown(l) {
			days = append(days, l)
		}
	}
	days = append(days, today)
	from := max(len(days)-o.Days, 0)
	t := LevelTrend{Known: true}
	if from >= medianNeeds {
		t.Median, t.MedianKnown = median(days[:from]), true
		t.Down = DB(t.Median - today)
	}
	for i := len(days) - 1; i >= 0; i-- {
		down := t.MedianKnown && DB(t.Median-days[i]) >= o.Drop
		if !down && days[i] >= o.Floor {
			break
		}
		t.Days++
	}
	t.Low = t.Days >= o.Days
	return t
}

func levelKnown(l DBm) bool { return l < 0 && l >= -120 }

// median of a set that is not empty; it leaves the set as it was.
func median(levels []DBm) DBm {
	s := slices.Sorted(slices.Values(levels))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// What a level far from the paper points at (common practice).
const (
	likelyWeak   = "misalignment, something in the path, a wet connector, or a wrong gain in the plan"
	likelyStrong = "a wrong entry in the plan, often more radiated power than the plan says"
)

// Deviation is measured less expected level and what a large one points at:
// more than 6 dB under the paper, or more than 3 dB above it. Likely is empty
// when the two agree. False when either level is unknown.
func Deviation(measured, expected DBm) (diff DB, likely string, ok bool) {
	if !levelKnown(measured) || !levelKnown(expected) {
		return 0, "", false
	}
	diff = DB(measured - expected)
	switch {
	case diff < -6:
		likely = likelyWeak
	case diff > 3:
		likely = likelyStrong
	}
	return diff, likely, true
}
