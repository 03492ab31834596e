package radio_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"boundwalk/inventory/radio"
)

// near reports whether got lies within tolerance of want; NaN never does.
func near[T ~float64](got, want T, tolerance float64) bool {
	return math.Abs(float64(got-want)) <= tolerance
}

func rateRows(t *testing.T) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/rates.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			m[name] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Source: testdata/rates.csv, whose rates were held against two published MCS
// tables and whose sensitivities are those of IEEE 802.11 as regulators restate them.
func TestRatesCellByCell(t *testing.T) {
	rows := rateRows(t)
	if len(rows) != 400 {
		t.Fatalf("%d rows, want 400", len(rows))
	}
	allowed := 0
	for _, row := range rows {
		streams, mcs := int(number(t, row["streams"])), int(number(t, row["mcs"]))
		width := radio.MHz(number(t, row["width_mhz"]))
		mode := radio.Mode{
			Standard: radio.Standard(strings.TrimPrefix(row["standard"], "802.11")),
			Streams:  streams,
			Guard:    time.Duration(math.Round(number(t, row["guard_us"]) * 1000)),
		}
		if mode.Standard == radio.N {
			mcs %= 8 // 802.11n counts on from stream to stream: MCS 15 is 7 with two
		}
		rate, err := mode.Rate(mcs, width)
		if row["mcs_allowed"] == "no" {
			if !errors.Is(err, radio.ErrNoRate) {
				t.Errorf("%v: rate %d, %v, want ErrNoRate", row, rate, err)
			}
			continue
		}
		allowed++
		if err != nil {
			t.Errorf("%v: %v", row, err)
		}
		mbit := float64(rate) / 1e6
		if !near(mbit, number(t, row["rate_mbps_exact"]), 0.0001) || !near(mbit, number(t, row["rate_mbps"]), 0.06) {
			t.Errorf("%v: got %.4f Mbit/s", row, mbit)
		}
		least, err := radio.Sensitivity(mcs, width)
		if err != nil || float64(least) != number(t, row["min_sensitivity_dbm"]) {
			t.Errorf("%v: sensitivity %v, %v", row, least, err)
		}
		// The implied SNR is over thermal noise, 10 dB noise figure and 5 dB implementation loss.
		floor, err := radio.NoiseFloor(width, 15)
		if err != nil || !near(float64(least-floor), number(t, row["implied_snr_db"]), 0.06) {
			t.Errorf("%v: SNR %.2f, %v", row, least-floor, err)
		}
	}
	if allowed != 396 {
		t.Errorf("%d allowed rows, want 396", allowed)
	}
}

// Source: Linux 6.1, net/wireless/util.c, the tables of
// cfg80211_calculate_bitrate_vht and _he (base rates for one stream, long
// guard interval; 802.11ax at MCS 11). It is also the outside check for 160 MHz.
func TestRatesOfTheLinuxKernel(t *testing.T) {
	vht := map[radio.MHz][]float64{
		20:  {6.5, 13, 19.5, 26, 39, 52, 58.5, 65, 78},
		40:  {13.5, 27, 40.5, 54, 81, 108, 121.5, 135, 162, 180},
		80:  {29.3, 58.5, 87.8, 117, 175.5, 234, 263.3, 292.5, 351, 390},
		160: {58.5, 117, 175.5, 234, 351, 468, 526.5, 585, 702, 780},
	}
	for width, base := range vht {
		for mcs, want := range base {
			got, err := radio.Mode{Standard: radio.AC}.Rate(mcs, width)
			if err != nil || !near(float64(got)/1e6, want, 0.06) {
				t.Errorf("ac %v MHz MCS %d: %d, %v, want %v", width, mcs, got, err, want)
			}
		}
	}
	he := map[radio.MHz][3]float64{ // MCS 11 is 10/9 * 1.25 of these, by the kernel's divisors
		20: {114.711111, 108.333333, 97.5}, 40: {229.411111, 216.666666, 195},
		80: {480.388888, 453.7, 408.333333}, 160: {960.777777, 907.4, 816.666666},
	}
	for width, base := range he {
		for i, guard := range []time.Duration{800, 1600, 3200} {
			got, err := radio.Mode{Standard: radio.AX, Guard: guard}.Rate(11, width)
			want := base[i] * 6144 / 6144 * 10 / 8
			if err != nil || math.Abs(float64(got)/1e6/want-1) > 0.001 {
				t.Errorf("ax %v MHz guard %v: %d, %v, want %.2f", width, guard, got, err, want)
			}
		}
	}
}

// Source: published MCS tables.
func TestRateAnchors(t *testing.T) {
	for _, c := range []struct {
		name  string
		mode  radio.Mode
		mcs   int
		width radio.MHz
		mbit  float64
	}{
		{"n MCS 15 short guard", radio.Mode{radio.N, 2, 400}, 7, 40, 300},
		{"ac one stream MCS 9 short guard", radio.Mode{radio.AC, 1, 400}, 9, 80, 433.3},
		{"ac two streams", radio.Mode{radio.AC, 2, 400}, 9, 80, 866.7},
		{"ax two streams MCS 11", radio.Mode{radio.AX, 2, 800}, 11, 80, 1201},
		{"ax lowest", radio.Mode{radio.AX, 1, 800}, 0, 20, 8.6},
		{"ac MCS 9 at 20 MHz exists with three streams", radio.Mode{radio.AC, 3, 400}, 9, 20, 288.9},
	} {
		got, err := c.mode.Rate(c.mcs, c.width)
		if err != nil || !near(float64(got)/1e6, c.mbit, 0.06) {
			t.Errorf("%s: %d, %v, want %v Mbit/s", c.name, got, err, c.mbit)
		}
	}
}

func TestRateIsRoundedToTheBit(t *testing.T) {
	mode := radio.Mode{Standard: radio.N, Guard: 400}
	if got, err := mode.Rate(2, 20); err != nil || got != 21_666_667 {
		t.Errorf("52 x 2 x 3/4 bits in 3.6 us: %d, %v", got, err)
	}
}

func TestRateThatDoesNotExist(t *testing.T) {
	for _, c := range []struct {
		name  string
		mode  radio.Mode
		mcs   int
		width radio.MHz
	}{
		{"no standard", radio.Mode{}, 0, 20},
		{"n at 80 MHz", radio.Mode{Standard: radio.N}, 0, 80},
		{"n MCS 8 within a stream", radio.Mode{Standard: radio.N}, 8, 20},
		{"ac at 20 MHz MCS 9 with two streams", radio.Mode{Standard: radio.AC, Streams: 2}, 9, 20},
		{"ac at 80 MHz MCS 6 with three streams", radio.Mode{Standard: radio.AC, Streams: 3}, 6, 80},
		{"ax with a short guard of n", radio.Mode{Standard: radio.AX, Guard: 400}, 0, 20},
		{"five streams", radio.Mode{Standard: radio.AX, Streams: 5}, 0, 20},
		{"streams below zero", radio.Mode{Standard: radio.AX, Streams: -1}, 0, 20},
		{"MCS below zero", radio.Mode{Standard: radio.AX}, -1, 20},
		{"width not a number", radio.Mode{Standard: radio.AX}, 0, radio.MHz(math.NaN())},
	} {
		if got, err := c.mode.Rate(c.mcs, c.width); !errors.Is(err, radio.ErrNoRate) || got != 0 {
			t.Errorf("%s: %d, %v, want ErrNoRate", c.name, got, err)
		}
	}
	if _, err := radio.Sensitivity(12, 20); !errors.Is(err, radio.ErrNoRate) {
		t.Errorf("sensitivity of MCS 12: %v", err)
	}
}

// Source: the table of IEEE 802.11's minimum sensitivities in regulators' rules, with 160 MHz.
func TestSensitivityTable(t *testing.T) {
	want := [12][4]radio.DBm{
		{-82, -79, -76, -73}, {-79, -76, -73, -70}, {-77, -74, -71, -68}, {-74, -71, -68, -65},
		{-70, -67, -64, -61}, {-66, -63, -60, -57}, {-65, -62, -59, -56}, {-64, -61, -58, -55},
		{-59, -56, -53, -50}, {-57, -54, -51, -48}, {-54, -51, -48, -45}, {-52, -49, -46, -43},
	}
	for mcs, row := range want {
		for i, width := range []radio.MHz{20, 40, 80, 160} {
			if got, err := radio.Sensitivity(mcs, width); err != nil || got != row[i] {
				t.Errorf("MCS %d at %v MHz: %v, %v, want %v", mcs, width, got, err, row[i])
			}
		}
	}
}

// Source: thermal noise kTB at 290 K, -174 dBm/Hz.
func TestNoiseFloor(t *testing.T) {
	for _, c := range []struct {
		width             radio.MHz
		thermal, six, ten radio.DBm
	}{
		{20, -100.99, -94.99, -90.99}, {40, -97.98, -91.98, -87.98},
		{80, -94.97, -88.97, -84.97}, {160, -91.96, -85.96, -81.96},
	} {
		for figure, want := range map[radio.DB]radio.DBm{0: c.thermal, 6: c.six, 10: c.ten} {
			if got, err := radio.NoiseFloor(c.width, figure); err != nil || !near(got, want, 0.006) {
				t.Errorf("%v MHz, noise figure %v: %.2f, %v, want %v", c.width, figure, got, err, want)
			}
		}
	}
}
