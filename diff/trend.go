package diff

import (
	"math"
	"slices"
	"time"

	"boundwalk/inventory"
)

// Forecast is when a draw that grows reaches a limit: a range, for a date would
// promise more than daily peaks can tell. The zero value is no growth.
type Forecast struct {
	PerWeek inventory.Power // growth by the middle line
	// FromWeeks to ToWeeks is when the limit is reached at this pace, counted from the
	// last peak. ToWeeks zero: perhaps later than the peaks can tell. Both zero: it
	// is reached already.
	FromWeeks, ToWeeks float64
}

const (
	leastTrendDays = 14
	trendReach     = 8     // a forecast goes no further than so many times the days it rests on
	trendSure      = 1.645 // normal deviate of a range that nine in ten lines lie in
)

// Trend fits a robust line to daily peaks and says when it reaches the limit:
// the median of all slopes between two days (Theil and Sen; Sen 1968, from
// memory), whose range is that of the slopes which chance would give. Peaks that were not
// measured do not count. False: fewer than 14 days, no growth that stands out
// from chance, a limit of zero or less, or one too far off for the data.
func Trend(peaks []inventory.Peak, limit inventory.Power) (Forecast, bool) {
	x, y := trendPoints(peaks)
	n := len(x)
	if n < leastTrendDays || limit <= 0 {
		return Forecast{}, false
	}
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range n {
		for j := range i {
			slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
		}
	}
	slices.Sort(slopes)
	spread := trendSure * math.Sqrt(float64(n*(n-1)*(2*n+5))/18)
	at := func(k float64) float64 { return slopes[min(max(int(math.Round(k)), 0), len(slopes)-1)] }
	half := float64(len(slopes)) / 2
	slow, mid, fast := at(half-spread/2-1), middle(slopes), at(half+spread/2)
	if slow <= 0 {
		return Forecast{}, false
	}
	rest := make([]float64, n)
	for i := range n {
		rest[i] = y[i] - mid*x[i]
	}
	slices.Sort(rest)
	left := limit.Watts() - (middle(rest) + mid*x[n-1])
	f := Forecast{PerWeek: inventory.Power(math.Round(mid * 7 * 1000))}
	if left <= 0 {
		return f, true
	}
	reach := trendReach * (x[n-1] - x[0]) / 7
	f.FromWeeks, f.ToWeeks = left/fast/7, left/slow/7
	if f.FromWeeks > reach {
		return Forecast{}, false
	}
	if f.ToWeeks > reach {
		f.ToWeeks = 0
	}
	return f, true
}

// trendPoints are the days and watts to fit, one a day, in order.
func trendPoints(peaks []inventory.Peak) (days, watts []float64) {
	byDay := map[int64]float64{}
	for _, p := range peaks {
		if p.Basis != inventory.Measured {
			continue
		}
		// A day of the calendar, whatever the clock does in it.
		yy, mm, dd := p.Day.Date()
		day := time.Date(yy, mm, dd, 0, 0, 0, 0, time.UTC).Unix() / 86400
		byDay[day] = max(byDay[day], p.Draw.Watts())
	}
	order := make([]int64, 0, len(byDay))
	for d := range byDay {
		order = append(order, d)
	}
	slices.Sort(order)
	for _, d := range order {
		days, watts = append(days, float64(d-order[0])), append(watts, byDay[d])
	}
	return days, watts
}

// middle is the median of a sorted list that is not empty.
func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
