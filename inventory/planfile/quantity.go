package planfile

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// unit is one way to write a quantity: factor times the number is the amount
// in the base unit of its dimension.
type unit struct {
	name   string
	factor float64
	read   bool // understood, never written
}

// dimension is what a quantity measures. Its first unit is what examples and
// hints use.
type dimension struct {
	what     string // as in "is no power"
	example  string
	units    []unit
	low      float64 // in the base unit, inclusive
	high     float64
	whole    bool // the base unit is the finest step that the plan keeps
	mistaken map[string]string
}

// The dimensions of the plan. Prefixes are those of the SI, and of IEC 80000-13
// for KiB and above; AWG numbers are those of ASTM B258.
var (
	powers = dimension{what: "power", example: "12.5 W", low: 0, high: 1e9, whole: true,
		units: []unit{{"W", 1000, false}, {"mW", 1, false}, {"kW", 1e6, true}}}
	lengths = dimension{what: "length", example: "62 m", low: 0, high: 1e6,
		units: []unit{{"m", 1, false}, {"km", 1000, false}, {"cm", 0.01, true}}}
	frequencies = dimension{what: "frequency", example: "5500 MHz", low: 1, high: 300e3,
		units: []unit{{"MHz", 1, false}, {"GHz", 1000, true}, {"kHz", 0.001, true}}}
	bitRates = dimension{what: "bit rate", example: "4 Mbit/s", low: 0, high: 1e13, whole: true,
		units: []unit{{"Mbit/s", 1e6, false}, {"Gbit/s", 1e9, false}, {"kbit/s", 1e3, false}, {"bit/s", 1, false}},
		mistaken: map[string]string{"mbps": "Mbit/s", "mb/s": "Mbit/s", "mbit": "Mbit/s", "m": "Mbit/s", "gbps": "Gbit/s",
			"gb/s": "Gbit/s", "gbit": "Gbit/s", "g": "Gbit/s", "kbps": "kbit/s", "kb/s": "kbit/s", "kbit": "kbit/s", "bps": "bit/s"}}
	voltages = dimension{what: "voltage", example: "24 V", low: 0, high: 1000,
		units: []unit{{"V", 1, false}, {"mV", 0.001, true}}}
	sizes = dimension{what: "size", example: "2 TB", low: 0, high: 1e18, whole: true,
		units: []unit{{"TB", 1e12, false}, {"GB", 1e9, false}, {"MB", 1e6, true}, {"TiB", 1 << 40, false}, {"GiB", 1 << 30, false},
			{"MiB", 1 << 20, true}, {"B", 1, false}}}
	energies = dimension{what: "energy", example: "216 Wh", low: 0, high: 1e7,
		units: []unit{{"Wh", 1, false}, {"kWh", 1000, true}}}
	charges = dimension{what: "charge", example: "9 Ah", low: 0, high: 1e6,
		units: []unit{{"Ah", 1, false}, {"mAh", 0.001, true}}}
	shares = dimension{what: "share", example: "90 %", low: 0, high: 1,
		units: []unit{{"%", 0.01, false}}}
	levels = dimension{what: "level", example: "-61 dBm", low: -200, high: 100, units: []unit{{"dBm", 1, false}}}
	gains  = dimension{what: "antenna gain", example: "16 dBi", low: -50, high: 100, units: []unit{{"dBi", 1, false}}}
	losses = dimension{what: "loss", example: "1.5 dB", low: 0, high: 200, units: []unit{{"dB", 1, false}}}
	warmth = dimension{what: "temperature", example: "40 °C", low: -60, high: 120,
		units: []unit{{"°C", 1, false}, {"C", 1, true}, {"℃", 1, true}}}
	gauges = dimension{what: "wire gauge", example: "23 AWG", low: 10, high: 32, whole: true, units: []unit{{"AWG", 1, false}}}
)

var numberThenUnit = regexp.MustCompile(`^([+\-−]?)([0-9.,_']*)(.*)$`)

// plainNumber is a number as the plan wants it: no exponent, no bare point, and
// no more digits than a float64 holds exactly.
var plainNumber = regexp.MustCompile(`^-?[0-9]{1,15}(\.[0-9]{1,9})?$`)

// parse reads a number with its unit and returns it in the base unit.
func (d dimension) parse(s string) (float64, error) {
	number, name := split(s)
	if err := d.checkNumber(s, number, name); err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, fmt.Errorf("%s is no %s: write a number and a unit, such as %s", quoted(s), d.what, d.example)
	}
	u, err := d.unit(s, number, name)
	if err != nil {
		return 0, err
	}
	v = scale(v, u.factor)
	if d.whole {
		whole := math.Round(v)
		if math.Abs(v-whole) > 1e-6*max(1, math.Abs(v)*1e-6) {
			return 0, fmt.Errorf("%s is finer than the plan keeps: the smallest step is 1 %s", quoted(s), d.smallest().name)
		}
		v = whole
	}
	if v < d.low || v > d.high {
		return 0, fmt.Errorf("%s is out of range: a %s here is %s to %s", quoted(s), d.what, d.write(d.low), d.write(d.high))
	}
	return v, nil
}

// split parts a number from what follows it; blanks of any kind may stand between.
func split(s string) (number, name string) {
	m := numberThenUnit.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil { // a line break within
		return "", s
	}
	sign := m[1]
	if sign == "−" { // U+2212, as word processors write it
		sign = "-"
	}
	if sign == "+" {
		sign = ""
	}
	return sign + m[2], strings.TrimSpace(m[3])
}

// checkNumber refuses what is no plain decimal number, with the likely repair.
func (d dimension) checkNumber(s, number, name string) error {
	if name == "" {
		name = d.units[0].name
	}
	digits := strings.TrimPrefix(number, "-")
	switch {
	case digits == "":
		return fmt.Errorf("%s is no %s: write a number and a unit, such as %s", quoted(s), d.what, d.example)
	case strings.Contains(digits, ","):
		if fixed := strings.Replace(number, ",", ".", 1); plainNumber.MatchString(fixed) {
			return fmt.Errorf("%s has a comma: use a point and a unit: %s %s", quoted(s), fixed, name)
		}
		return fmt.Errorf("%s has commas: write the number without them, with a point before the decimals, such as %s", quoted(s), d.example)
	case strings.HasPrefix(digits, "."):
		return fmt.Errorf("%s begins with a point: write 0%s %s", quoted(s), digits, name)
	case !plainNumber.MatchString(number):
		return fmt.Errorf("%s is no plain number: write digits and a unit, such as %s", quoted(s), d.example)
	}
	return nil
}

// unit finds the unit by its name.
func (d dimension) unit(s, number, name string) (unit, error) {
	if name == "" {
		return unit{}, fmt.Errorf("%s has no unit: write %s %s", quoted(s), number, d.units[0].name)
	}
	for _, u := range d.units {
		if u.name == name {
			return u, nil
		}
	}
	if to := d.mistaken[strings.ToLower(name)]; to != "" && !strings.Contains(name, "B") {
		return unit{}, fmt.Errorf("%s is no unit of the plan: write %s %s", quoted(name), number, to)
	}
	for _, u := range d.units {
		if strings.EqualFold(u.name, name) {
			return unit{}, fmt.Errorf("%s is no unit: write %s %s", quoted(name), number, u.name)
		}
	}
	return unit{}, fmt.Errorf("%s is no unit of %s: write %s, such as %s", quoted(name), d.what, orList(d.names()), d.example)
}

func (d dimension) names() []string {
	var names []string
	for _, u := range d.units {
		names = append(names, u.name)
	}
	return names
}

func (d dimension) smallest() unit {
	return slices.MinFunc(d.units, func(a, b unit) int { return int(math.Copysign(1, a.factor-b.factor)) })
}

// write is the shortest form of v, which is in the base unit, that reads back as v.
func (d dimension) write(v float64) string {
	best := ""
	for _, u := range d.units {
		if u.read {
			continue
		}
		n := strconv.FormatFloat(unscale(v, u.factor), 'f', -1, 64)
		if !plainNumber.MatchString(n) {
			continue
		}
		f, err := strconv.ParseFloat(n, 64)
		if err != nil || scale(f, u.factor) != v {
			continue
		}
		if best == "" || len(n) < strings.IndexByte(best, ' ') {
			best = n + " " + u.name
		}
	}
	if best == "" {
		best = strconv.FormatFloat(unscale(v, d.units[0].factor), 'f', 9, 64) + " " + d.units[0].name
	}
	return best
}

// scale multiplies by the factor, dividing where that is exact: 90 % is 0.9.
func scale(v, factor float64) float64 {
	if factor < 1 {
		return v / math.Round(1/factor)
	}
	return v * factor
}

func unscale(v, factor float64) float64 {
	if factor < 1 {
		// One ulp of noise would make 30 % into 30.000000000000004 %.
		return math.Round(v*math.Round(1/factor)*1e9) / 1e9
	}
	return v / factor
}

// durationUnits are the units of spans of time, in all the ways people write them.
var durationUnits = map[string]time.Duration{
	"s": time.Second, "sec": time.Second, "second": time.Second, "seconds": time.Second,
	"m": time.Minute, "min": time.Minute, "minute": time.Minute, "minutes": time.Minute,
	"h": time.Hour, "hour": time.Hour, "hours": time.Hour,
	"d": 24 * time.Hour, "day": 24 * time.Hour, "days": 24 * time.Hour,
	"w": 7 * 24 * time.Hour, "week": 7 * 24 * time.Hour, "weeks": 7 * 24 * time.Hour,
}

const maxSpan = 100 * 365 * 24 * time.Hour

// durationPart is one number with its unit; several may follow one another, as in 1h30m.
var durationPart = regexp.MustCompile(`^([0-9]{1,9}(?:\.[0-9]{1,6})?)\s*([a-z]+)\s*`)

// ParseDuration reads a span of time as the plan writes it, such as 90 s, 1h30m
// or 2 weeks. A day is 24 hours.
func ParseDuration(s string) (time.Duration, error) { return parseDuration(s) }

// parseDuration reads a span of time such as 90 s, 15 min, 1h30m, 14 days or 2
// weeks. A day is 24 hours.
func parseDuration(s string) (time.Duration, error) {
	rest, sum := strings.TrimSpace(strings.ReplaceAll(s, "\u00a0", " ")), 0.0
	if number, name := split(rest); strings.ContainsAny(number, ",") {
		return 0, fmt.Errorf("%s has a comma: use a point and a unit: %s %s", quoted(s), strings.Replace(number, ",", ".", 1), orUnit(name, "h"))
	} else if number != "" && name == "" {
		return 0, fmt.Errorf("%s has no unit: write %s s, %s min, %s h or %s days", quoted(s), number, number, number, number)
	}
	if rest == "" {
		return 0, fmt.Errorf("%s is no span of time: write a number and a unit, such as 15 min, 1h30m or 14 days", quoted(s))
	}
	for rest != "" {
		m := durationPart.FindStringSubmatch(rest)
		if m == nil {
			return 0, fmt.Errorf("%s is no span of time: write a number and a unit, such as 15 min, 1h30m or 14 days", quoted(s))
		}
		u, ok := durationUnits[m[2]]
		if !ok {
			return 0, fmt.Errorf("%s is no unit of time: write s, min, h, days or weeks", quoted(m[2]))
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return 0, fmt.Errorf("%s is no span of time: %w", quoted(s), err)
		}
		sum += v * float64(u)
		rest = rest[len(m[0]):]
	}
	if sum > float64(maxSpan) {
		return 0, fmt.Errorf("%s is out of range: at most 100 years", quoted(s))
	}
	d := time.Duration(math.Round(sum))
	if d%time.Millisecond != 0 {
		return 0, fmt.Errorf("%s is finer than the plan keeps: the smallest step is a millisecond", quoted(s))
	}
	return d, nil
}

// writeDuration is a form that parseDuration reads back as d, a multiple of a millisecond.
func writeDuration(d time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case d == day:
		return "1 day"
	case d > 0 && d%day == 0:
		return fmt.Sprintf("%d days", d/day)
	case d > 0 && d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d > 0 && d < time.Hour && d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	var b strings.Builder
	for _, part := range []struct {
		unit time.Duration
		name string
	}{{time.Hour, "h"}, {time.Minute, "m"}} {
		if n := d / part.unit; n > 0 {
			fmt.Fprintf(&b, "%d%s", n, part.name)
			d -= n * part.unit
		}
	}
	if d > 0 || b.Len() == 0 {
		b.WriteString(strconv.FormatFloat(d.Seconds(), 'f', -1, 64) + "s")
	}
	return b.String()
}

func orUnit(name, otherwise string) string {
	if name == "" {
		return otherwise
	}
	return name
}

// quoted puts a piece of the plan between quotes, cut where it is long.
func quoted(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		s = string(r[:most-1]) + "…"
	}
	return strconv.Quote(s)
}

// orList joins words as "a, b or c".
func orList(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
