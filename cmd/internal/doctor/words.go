package doctor

import (
	"fmt"
	"strings"
	"time"

	"boundwalk/inventory"
)

// merge makes one line of those that tell of the same cause: a secret that
// cannot be read keeps all agents silent that take it.
func merge(lines []Line) []Line {
	type cause struct {
		state     State
		found, do string
	}
	of := func(l Line) cause { return cause{l.State, l.Found, l.Do} }
	names := map[cause][]string{}
	var out []Line
	for _, l := range lines {
		names[of(l)] = append(names[of(l)], l.Subject)
		if l.State == Pass || len(names[of(l)]) == 1 {
			out = append(out, l)
		}
	}
	for i, l := range out {
		if who := names[of(l)]; l.State != Pass && len(who) > 1 {
			out[i].Subject = fmt.Sprintf("%d agents", len(who))
			out[i].Found += ": " + strings.Join(who, ", ")
		}
	}
	return out
}

// resultWords are how a look that brought nothing ended.
var resultWords = map[inventory.Result]string{inventory.NoAnswer: "no answer", inventory.Refused: "refused", inventory.Skipped: "not asked",
	inventory.NotOffered: "not offered",
	inventory.Partial:    "read in part", inventory.Complete: "read"}

func offWords(off time.Duration) string {
	switch {
	case off.Abs() <= time.Second:
		return "right"
	case off > 0:
		return span(off) + " fast"
	}
	return span(-off) + " slow"
}

// span is a duration in the one unit that suits it.
func span(d time.Duration) string {
	switch {
	case d < time.Second:
		return fmt.Sprintf("%d ms", d.Milliseconds())
	case d < 2*time.Minute:
		return fmt.Sprintf("%.3g s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}
