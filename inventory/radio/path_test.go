package radio_test

import (
	"errors"
	"math"
	"testing"

	"boundwalk/inventory/radio"
)

func TestFreeSpaceLoss(t *testing.T) {
	for _, c := range []struct {
		name      string
		d         radio.Metres
		f         radio.MHz
		want      radio.DB
		tolerance float64
	}{
		{"published: a public signal-processing library's manual", 1000, 1000, 92.44778322188337, 1e-6},
		{"published: the same, twice the distance", 2000, 1000, 98.468383135163, 1e-6},
		{"published: a public toolbox's manual", 10_000, 10_000, 132.4478, 5e-5},
		{"P.525 formula", 100, 5500, 87.255, 0.001},
		{"P.525 formula", 150, 5500, 90.777, 0.001},
		{"P.525 formula", 300, 5800, 97.259, 0.001},
		{"P.525 formula", 1000, 5180, 106.734, 0.001},
		{"P.525 formula", 1000, 5800, 107.716, 0.001},
		{"P.525 formula", 5000, 5800, 121.696, 0.001},
		{"rounded constant 32.44", 1000, 5800, 107.709, 0.05},
		{"never below zero", 0.1, 100, 0, 0},
	} {
		if got, err := radio.FreeSpaceLoss(c.d, c.f); err != nil || !near(got, c.want, c.tolerance) {
			t.Errorf("%s: %v m at %v MHz: %.4f, %v, want %v", c.name, c.d, c.f, got, err, c.want)
		}
	}
}

// Source: the exact formula against P.526-8 eq. 3 (550) and the 17.3 of P.530-18.
func TestFresnelRadius(t *testing.T) {
	for _, c := range []struct {
		near, far radio.Metres
		f         radio.MHz
		want      radio.Metres
		part      radio.Metres // 0.6 of it
	}{
		{50, 50, 5500, 1.167, 0.700}, {75, 75, 5500, 1.430, 0.858}, {150, 150, 5500, 2.022, 1.213},
		{500, 500, 5500, 3.692, 2.215}, {500, 500, 5800, 3.595, 2.157}, {2500, 2500, 5800, 8.038, 4.823},
		{75, 225, 5500, 1.751, 1.0506}, {225, 75, 5500, 1.751, 1.0506},
	} {
		got, err := radio.FresnelRadius(c.near, c.far, c.f)
		if err != nil || !near(got, c.want, 0.0006) {
			t.Errorf("%v + %v m: %.4f, %v, want %v", c.near, c.far, got, err, c.want)
		}
		d1, d2, f := float64(c.near)/1000, float64(c.far)/1000, float64(c.f)
		p526 := 550 * math.Sqrt(d1*d2/((d1+d2)*f))
		p530 := 17.3 * math.Sqrt(d1*d2/((d1+d2)*f/1000))
		if math.Abs(p526/float64(got)-1) > 0.006 || math.Abs(p530/float64(got)-1) > 0.002 {
			t.Errorf("%v + %v m: %.4f, P.526 has %.4f, P.530 %.4f", c.near, c.far, got, p526, p530)
		}
		z, err := radio.FresnelZone(c.near, c.far, c.f)
		if err != nil || z.At != c.near || z.Radius != got || !near(z.Wanted-z.Bulge, c.part, 0.0006) {
			t.Errorf("%v + %v m: zone %+v, %v", c.near, c.far, z, err)
		}
	}
}

// Source: P.526-8, effective Earth radius 8500 km.
func TestEarthBulge(t *testing.T) {
	for half, want := range map[radio.Metres]radio.Metres{500: 0.0147, 2500: 0.3676} {
		if z, err := radio.FresnelZone(half, half, 5800); err != nil || !near(z.Bulge, want, 0.0001) {
			t.Errorf("middle of %v m: %.4f, %v, want %v", 2*half, z.Bulge, err, want)
		}
	}
}

// Source: P.530-18 eq. 2 by its public reference code.
func TestDiffractionLoss(t *testing.T) {
	for _, c := range []struct {
		clearance radio.Metres
		want      radio.DB
	}{{1.2, 0}, {1, 0}, {0.5, 5}, {0, 10}, {-1, 20}, {-1000, 200}} {
		if got, err := radio.DiffractionLoss(c.clearance, 2); err != nil || !near(got, c.want, 1e-9) {
			t.Errorf("%v m of clearance: %v, %v, want %v", c.clearance, got, err, c.want)
		}
	}
}

// Source: ITU-R P.2040-3 Table 3 (materials), slab at normal incidence without
// interference, as tabled for this project by a separate calculation.
func TestWallLoss(t *testing.T) {
	for _, c := range []struct {
		wall       radio.Wall
		at24, at55 radio.DB
	}{
		{radio.Wall{Material: "plasterboard", Thickness: 0.0125}, 0.8, 1.1},
		{radio.Wall{Material: "plasterboard"}, 1.0, 1.6},
		{radio.Wall{Material: "wood", Thickness: 0.04}, 0.8, 1.6},
		{radio.Wall{Material: "chipboard", Thickness: 0.018}, 1.3, 2.0},
		{radio.Wall{Material: "glass", Thickness: 0.006}, 1.7, 1.8},
		{radio.Wall{Material: "brick", Thickness: 0.1}, 3.3, 3.6},
		{radio.Wall{Material: "brick"}, 6.0, 6.7},
		{radio.Wall{Material: "concrete", Thickness: 0.1}, 8.1, 14.0},
		{radio.Wall{Material: "concrete"}, 14.7, 26.5},
		{radio.Wall{Material: "concrete", Thickness: 0.3}, 21.3, 39.0},
		{radio.Wall{Material: "metal"}, 100, 100},
		{radio.Wall{Material: "brick", Count: 2}, 12.0, 13.4},
		{radio.Wall{Material: "glass", Worse: true}, 21.7, 21.8},
		{radio.Wall{Material: "two hedges", Count: 2, Stated: 4}, 8, 8},
	} {
		for f, want := range map[radio.MHz]radio.DB{2437: c.at24, 5500: c.at55} {
			tolerance := 0.06 * float64(max(c.wall.Count, 1)) // rounding, and another way to average
			if got, err := c.wall.Loss(f); err != nil || !near(got.DB, want, tolerance) {
				t.Errorf("%+v at %v MHz: %+v, %v, want %v", c.wall, f, got, err, want)
			}
		}
	}
	for _, bad := range []radio.Wall{
		{Material: "cheese"}, {Material: "brick", Count: -1}, {Material: "brick", Count: 101}, {Material: "brick", Thickness: -1},
		{Material: "brick", Thickness: 11}, {Stated: radio.DB(math.NaN())}, {Stated: -1}, {},
	} {
		if got, err := bad.Loss(5500); !errors.Is(err, radio.ErrRange) || got != (radio.Loss{}) {
			t.Errorf("%+v: %+v, %v, want ErrRange", bad, got, err)
		}
	}
	if _, err := (radio.Wall{Material: "brick"}).Loss(433); !errors.Is(err, radio.ErrRange) {
		t.Errorf("brick at 433 MHz lies outside the recommendation: %v", err)
	}
}

func TestParseWall(t *testing.T) {
	for text, want := range map[string]radio.Wall{
		"brick wall":                {Material: "brick"},
		"two brick walls":           {Material: "brick", Count: 2},
		"2x brick walls":            {Material: "brick", Count: 2},
		"2 x Concrete wall 150 mm":  {Material: "concrete", Count: 2, Thickness: 0.15},
		"a concrete wall, 20cm":     {Material: "concrete", Count: 1, Thickness: 0.2},
		"coated glass":              {Material: "glass", Worse: true},
		"three wet brick walls":     {Material: "brick", Count: 3, Worse: true},
		"sheet metal":               {Material: "metal"},
		"old boiler house 12 dB":    {Material: "old boiler house 12 dB", Count: 1, Stated: 12},
		"two hedges 3.5dB each":     {Material: "two hedges 3.5dB each", Count: 2, Stated: 3.5},
		"brick shed number 2, 9 dB": {Material: "brick shed number 2, 9 dB", Count: 1, Stated: 9},
	} {
		if got, err := radio.ParseWall(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "wall", "two walls", "brick and glass", "thatch", "brick 1.2.3 mm", "cottage 0 dB", "brick 200"} {
		if got, err := radio.ParseWall(text); err == nil || got != (radio.Wall{}) {
			t.Errorf("%q: %+v, want an error", text, got)
		}
	}
}

// The form of ITU-R P.530-18 (by its public reference code), worked by hand:
// 10 km, 6 GHz, K 1e-5, h_c 147, e_p 0, h_L 0, v_sr 0, 0.01 %:
// log10 p0 = -5 + 3.51 + 0.447 log10(49) = -0.7345; fade = 10 (-0.7345 + 2) = 12.66 dB.
// No published worked example of this edition was at hand.
func TestMultipathFade(t *testing.T) {
	m := radio.Multipath{Percent: 0.01, Geoclimatic: 1e-5, Height: 147}
	if got, err := m.Fade(10_000, 6000); err != nil || !near(got, 12.655, 0.005) {
		t.Errorf("10 km: %.3f, %v", got, err)
	}
	// All terms: 20 km, 8 GHz, tanh(1), e_p 1: log10 p0 = -5 + 4.5666 + 0.8433 - 0.2864 - 0.334 - 0.027 - 0.1785 = -0.4160.
	all := radio.Multipath{Percent: 0.01, Geoclimatic: 1e-5, Height: 272, LowerAntenna: 100, Inclination: 1, Refraction: -0.01}
	if got, err := all.Fade(20_000, 8000); err != nil || !near(got, 15.840, 0.002) {
		t.Errorf("20 km: %.4f, %v", got, err)
	}
	deeper := m
	deeper.Percent = 0.001
	if got, err := deeper.Fade(10_000, 6000); err != nil || !near(got, 22.655, 0.005) {
		t.Errorf("a tenth of the time is 10 dB deeper: %.3f, %v", got, err)
	}
	if got, err := (radio.Multipath{}).Fade(5000, 6000); err != nil || got != 0 {
		t.Errorf("5 km: %v, %v, want none", got, err)
	}
	if _, err := (radio.Multipath{}).Fade(5001, 6000); !errors.Is(err, radio.ErrRange) {
		t.Errorf("over 5 km with nothing given: %v, want ErrRange", err)
	}
}

func TestPathOutOfRange(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, v := range []float64{nan, inf, -inf, 0, -1, math.MaxFloat64, math.SmallestNonzeroFloat64} {
		if l, err := radio.FreeSpaceLoss(radio.Metres(v), 5500); !errors.Is(err, radio.ErrRange) || l != 0 {
			t.Errorf("distance %v: %v, %v", v, l, err)
		}
		if l, err := radio.FreeSpaceLoss(100, radio.MHz(v)); !errors.Is(err, radio.ErrRange) || l != 0 {
			t.Errorf("frequency %v: %v, %v", v, l, err)
		}
		if r, err := radio.FresnelRadius(radio.Metres(v), 10, 5500); !errors.Is(err, radio.ErrRange) || r != 0 {
			t.Errorf("near side %v: %v, %v", v, r, err)
		}
		if r, err := radio.FresnelRadius(10, radio.Metres(v), 5500); !errors.Is(err, radio.ErrRange) || r != 0 {
			t.Errorf("far side %v: %v, %v", v, r, err)
		}
		if l, err := radio.DiffractionLoss(1, radio.Metres(v)); !errors.Is(err, radio.ErrRange) || l != 0 {
			t.Errorf("zone radius %v: %v, %v", v, l, err)
		}
	}
	if _, err := radio.DiffractionLoss(radio.Metres(nan), 1); !errors.Is(err, radio.ErrRange) {
		t.Errorf("clearance NaN: %v", err)
	}
	if _, err := radio.NoiseFloor(radio.MHz(nan), 6); !errors.Is(err, radio.ErrRange) {
		t.Errorf("noise in a width of NaN: %v", err)
	}
}
