package poe

// Thresholds of the program's contract, as shares; the plan may set others.
const (
	NearPort   = 0.90 // of what a port's hardware or class grants, by the highest draw measured
	NearSupply = 0.80 // of a supply's budget drawn

	nearBand = 0.05 // a level is left only so far below its threshold
)

// Level says how full a port or a supply is. The zero value is Calm.
type Level uint8

// The levels.
const (
	Calm Level = iota
	Near
	Over // more than the whole
)

// String returns "calm", "near" or "over".
func (l Level) String() string {
	switch l {
	case Near:
		return "near"
	case Over:
		return "over"
	default:
		return "calm"
	}
}

// LevelOf judges part of whole against a threshold, NearPort, NearSupply or the
// plan's. Was is the level found last time: a level is kept until the share is 5
// points below where it began, so that a draw at the edge does not come and go.
// It is Calm where whole is not known (zero or less). A threshold that is not
// between 0 and 1 counts as 1.
//
// Judge only measured draws, and only against what hardware or class grants: a
// negotiated limit is near its draw by design.
func LevelOf(part, whole Power, threshold float64, was Level) Level {
	if whole <= 0 {
		return Calm
	}
	if !(threshold > 0 && threshold <= 1) {
		threshold = 1
	}
	share := part.Watts() / whole.Watts()
	if was >= Near {
		threshold -= nearBand
	}
	const rounding = 1e-9
	switch {
	case share > 1+rounding, was >= Over && share >= 1-nearBand-rounding:
		return Over
	case share >= threshold-rounding:
		return Near
	default:
		return Calm
	}
}

// Level judges a supply: by the share of it that is drawn, and by whether what
// the switch has not yet reserved, above the guard, would carry next, the
// largest reservation of a planned device that is not fed yet; zero if there is
// none. No room makes a supply Near and, once it was, keeps it so until there is
// 5 % of the budget to spare. Fill Ports with measured draws only.
func (b Budget) Level(next Power, threshold float64, was Level) (level Level, noRoom bool) {
	if b.Usable <= 0 {
		return Calm, false
	}
	level = LevelOf(b.Drawn(), b.Usable, threshold, was)
	if next > 0 {
		reserved, _ := b.Reserved()
		free := add(add(b.Usable, -max(b.Guard, 0)), -reserved)
		noRoom = free < next
		if was >= Near {
			free = add(free, -FromWatts(nearBand*b.Usable.Watts()))
		}
		if free < next {
			level = max(level, Near)
		}
	}
	return level, noRoom
}
