package ups_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"boundwalk/inventory/ups"
)

// Source: the ranges and units of RFC 1628, and two recorded agents.
func TestReadings(t *testing.T) {
	for raw, want := range map[int64]time.Duration{1: time.Minute, 1092: 1092 * time.Minute, -1: 0, 0: 0, math.MaxInt64: 0, math.MinInt64: 0} {
		if got, ok := ups.Minutes(raw); got != want || ok != (want != 0) {
			t.Errorf("minutes %d: %v, %v, want %v", raw, got, ok, want)
		}
	}
	for raw, want := range map[int64]bool{0: true, 30: true, -1: false, math.MaxInt64: false} {
		if got, ok := ups.OnBattery(raw); ok != want || ok && got != time.Duration(raw)*time.Second {
			t.Errorf("seconds on battery %d: %v, %v", raw, got, ok)
		}
	}
	for raw, want := range map[int64][2]bool{0: {true, true}, 100: {true, true}, 101: {false, true}, 200: {false, true}, 201: {}, -1: {}, math.MinInt64: {}} {
		charge, okCharge := ups.Charge(raw)
		load, okLoad := ups.Load(raw)
		if [2]bool{okCharge, okLoad} != want || okCharge && charge != int(raw) || okLoad && load != int(raw) {
			t.Errorf("percent %d: charge %d, %v, load %d, %v", raw, charge, okCharge, load, okLoad)
		}
	}
	for raw, want := range map[int64]bool{25: true, 0: true, -10: true, -1: false, -41: false, 101: false} {
		if got, ok := ups.Celsius(raw); ok != want || ok && got != int(raw) {
			t.Errorf("temperature %d: %d, %v", raw, got, ok)
		}
	}
	for raw, want := range map[int64]float64{5210: 521, 5385: 538.5, 135: 13.5, 0: 0, -1: 0, 10_001: 0} {
		if got, ok := ups.BatteryVolts(raw); got != want || ok != (want != 0) {
			t.Errorf("battery voltage %d: %v, %v, want %v", raw, got, ok, want)
		}
	}
}

func TestReadingsInTenTimesTheUnit(t *testing.T) {
	type reading struct {
		value   float64
		odd, ok bool
	}
	for raw, want := range map[int64]reading{
		230: {230, false, true}, 2369: {236.9, true, true}, 120: {120, false, true}, 1200: {120, true, true}, 0: {0, false, true},
		480: {480, false, true}, 4800: {480, true, true}, 600: {}, 5201: {}, -1: {}, 79: {}, math.MaxInt64: {},
	} {
		if v, odd, ok := ups.LineVolts(raw); (reading{v, odd, ok}) != want {
			t.Errorf("line voltage %d: %v, %v, %v, want %v", raw, v, odd, ok, want)
		}
	}
	for raw, want := range map[int64]reading{
		500: {50, false, true}, 5000: {50, true, true}, 4999: {49.99, true, true}, 600: {60, false, true}, 0: {0, false, true},
		50: {}, 1000: {}, -1: {}, math.MinInt64: {},
	} {
		if v, odd, ok := ups.Hertz(raw); (reading{v, odd, ok}) != want {
			t.Errorf("frequency %d: %v, %v, %v, want %v", raw, v, odd, ok, want)
		}
	}
}

// walk reads the integers of a recorded walk below UPS-MIB, by their OID under
// upsObjects. It skips where the recordings are not at hand.
func walk(t *testing.T, name string) map[string]int64 {
	t.Helper()
	dir := os.Getenv("BOUNDWALK_WALKS")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "walks")
	}
	f, err := os.Open(filepath.Join(dir, name+".snmprec"))
	if err != nil {
		t.Skip("no recorded walks here")
	}
	defer f.Close()
	rows := map[string]int64{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		fields := strings.SplitN(lines.Text(), "|", 3)
		oid, below := strings.CutPrefix(fields[0], "1.3.6.1.2.1.33.1.")
		if v, err := strconv.ParseInt(fields[len(fields)-1], 10, 64); below && err == nil {
			rows[oid] = v
		}
	}
	return rows
}

func TestRecordedAgents(t *testing.T) {
	for _, c := range []struct {
		name         string
		minutes      time.Duration
		charge       int
		celsius      int
		battery      float64
		volts, hertz float64 // of the input
		odd, known   bool
	}{
		{"ups-a", 1092 * time.Minute, 100, 25, 521, 227, 50, false, true},
		{"ups-d-minus-one", 0, 0, 0, 538.5, 236.9, 50, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows := walk(t, c.name)
			m, okM := ups.Minutes(rows["2.3.0"])
			charge, okC := ups.Charge(rows["2.4.0"])
			celsius, okT := ups.Celsius(rows["2.7.0"])
			if m != c.minutes || charge != c.charge || celsius != c.celsius || okM != c.known || okC != c.known || okT != c.known {
				t.Errorf("runtime %v %v, charge %d %v, temperature %d %v", m, okM, charge, okC, celsius, okT)
			}
			if v, ok := ups.BatteryVolts(rows["2.5.0"]); v != c.battery || !ok {
				t.Errorf("battery %v V, %v", v, ok)
			}
			if v, odd, ok := ups.LineVolts(rows["3.3.1.3.1"]); v != c.volts || odd != c.odd || !ok {
				t.Errorf("input %v V, odd %v, %v", v, odd, ok)
			}
			if v, odd, ok := ups.Hertz(rows["3.3.1.2.1"]); v != c.hertz || odd != c.odd || !ok {
				t.Errorf("input %v Hz, odd %v, %v", v, odd, ok)
			}
		})
	}
}
