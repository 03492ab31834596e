package planfile

import (
	"math"
	"strings"
	"testing"
	"time"
)

func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		name string
		dim  dimension
		in   string
		want float64
	}{
		{"watts become milliwatts", powers, "12.5 W", 12500},
		{"no blank is needed", powers, "130W", 130000},
		{"milliwatts", powers, "500 mW", 500},
		{"a tenth that no float holds", powers, "15.4 W", 15400},
		{"a non-breaking space from a word processor", powers, "5\u00a0W", 5000},
		{"metres", lengths, "340 m", 340},
		{"kilometres", lengths, "1.2 km", 1200},
		{"gigahertz become megahertz", frequencies, "5.5 GHz", 5500},
		{"megabits", bitRates, "4 Mbit/s", 4e6},
		{"gigabits", bitRates, "2.5 Gbit/s", 2.5e9},
		{"terabytes are decimal", sizes, "2 TB", 2e12},
		{"tebibytes are binary", sizes, "2 TiB", 2 << 40},
		{"volts", voltages, "24 V", 24},
		{"watt-hours", energies, "216 Wh", 216},
		{"ampere-hours", charges, "9 Ah", 9},
		{"a share is a part of one", shares, "90 %", 0.9},
		{"a share without a blank", shares, "5%", 0.05},
		{"a level is negative", levels, "-61 dBm", -61},
		{"a minus sign as word processors write it", levels, "−61 dBm", -61},
		{"a gain", gains, "+16 dBi", 16},
		{"a loss", losses, "1.5 dB", 1.5},
		{"degrees", warmth, "40 °C", 40},
		{"degrees without the sign", warmth, "-10 C", -10},
		{"gauge", gauges, "23 AWG", 23},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.dim.parse(c.in)
			if err != nil || got != c.want {
				t.Fatalf("%q is %v, %v; want %v", c.in, got, err, c.want)
			}
			again, err := c.dim.parse(c.dim.write(got))
			if err != nil || again != got {
				t.Errorf("%v is written %q and read back as %v, %v", got, c.dim.write(got), again, err)
			}
		})
	}
}

func TestQuantityErrors(t *testing.T) {
	for _, c := range []struct {
		dim  dimension
		in   string
		want string // a part of the message
	}{
		{powers, "12,5", "use a point and a unit: 12.5 W"},
		{powers, "12,5 W", "use a point and a unit: 12.5 W"},
		{powers, "1,000,000 W", "without them"},
		{powers, "12.5", "has no unit: write 12.5 W"},
		{powers, "5 w", "write 5 W"},
		{powers, "5 Watt", `"Watt" is no unit of power`},
		{powers, "much", "is no power"},
		{powers, "", "is no power"},
		{powers, "W", "is no power"},
		{powers, ".5 W", "write 0.5 W"},
		{powers, "1e3 W", `"e3 W" is no unit`},
		{powers, "1_000 W", "no plain number"},
		{powers, "-5 W", "out of range"},
		{powers, "12.3456 W", "finer than the plan keeps: the smallest step is 1 mW"},
		{powers, "9999999 W", "out of range"},
		{powers, "NaN W", "is no power"},
		{powers, "5 W\n6 W", "is no power"},
		{powers, strings.Repeat("9", 400) + " W", "no plain number"},
		{bitRates, "100 Mbps", "write 100 Mbit/s"},
		{bitRates, "100 Mb/s", "write 100 Mbit/s"},
		{bitRates, "100 MB/s", "is no unit of bit rate"},
		{bitRates, "100", "write 100 Mbit/s"},
		{bitRates, "1.5 bit/s", "finer"},
		{shares, "120 %", "out of range"},
		{shares, "0.9", "write 0.9 %"},
		{gauges, "23", "write 23 AWG"},
		{gauges, "23.5 AWG", "finer"},
		{lengths, "12 ft", "is no unit of length: write m, km or cm"},
	} {
		_, err := c.dim.parse(c.in)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v; want words with %q", c.in, err, c.want)
		}
	}
}

func TestDurations(t *testing.T) {
	const day = 24 * time.Hour
	for in, want := range map[string]time.Duration{
		"90 s": 90 * time.Second, "1m": time.Minute, "15 min": 15 * time.Minute, "1h30m": 90 * time.Minute, "1 h 30 min": 90 * time.Minute,
		"14 days": 14 * day, "1 day": day, "2 weeks": 14 * day, "1.5 h": 90 * time.Minute, "0 s": 0, "36 hours": 36 * time.Hour, "2d": 2 * day,
	} {
		got, err := parseDuration(in)
		if err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", in, got, err, want)
		}
		if again, err := parseDuration(writeDuration(got)); err != nil || again != got {
			t.Errorf("%v is written %q and read back as %v, %v", got, writeDuration(got), again, err)
		}
	}
	for in, want := range map[string]string{
		"10": "write 10 s, 10 min", "": "no span of time", "1:30": "no span of time", "soon": "no span of time", "1,5 h": "1.5 h",
		"3 months": `"months" is no unit of time`, "-5 min": "no span", "99999 weeks": "at most 100 years", "1h x": "no span of time",
	} {
		if _, err := parseDuration(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want words with %q", in, err, want)
		}
	}
}

var dimensions = []dimension{powers, lengths, frequencies, bitRates, voltages, sizes, energies, charges, shares,
	levels, gains, losses, warmth, gauges}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"12.5 W", "12,5", "1e3 W", "−61 dBm", "2 TiB", "90 %", "1h30m", "14 days", "0.000000001 m", "999999999999999 bit/s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, d := range dimensions {
			v, err := d.parse(s)
			if err != nil {
				continue
			}
			if math.IsNaN(v) || v < d.low || v > d.high {
				t.Errorf("%q is a %s of %v", s, d.what, v)
			}
			if again, err := d.parse(d.write(v)); err != nil || again != v {
				t.Errorf("%q is %v, written %q, read back as %v, %v", s, v, d.write(v), again, err)
			}
		}
		if v, err := parseDuration(s); err == nil {
			if again, err := parseDuration(writeDuration(v)); err != nil || again != v {
				t.Errorf("%q is %v, written %q, read back as %v, %v", s, v, writeDuration(v), again, err)
			}
		}
	})
}
