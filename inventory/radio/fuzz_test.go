package radio_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"boundwalk/inventory/radio"
)

// finite fails the test for any NaN or infinity in v, however deep.
func finite(t *testing.T, v any) {
	t.Helper()
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Float64:
			if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
				t.Errorf("%v in %+v", f, v)
			}
		case reflect.Struct:
			for _, field := range v.Fields() {
				walk(field)
			}
		case reflect.Slice, reflect.Array:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.Pointer:
			if !v.IsNil() {
				walk(v.Elem())
			}
		}
	}
	walk(reflect.ValueOf(v))
}

// Values within the ranges, so that most get a result, and some links with a
// value from anywhere.
func TestPaperOfAnything(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	wild := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, math.MaxFloat64, math.SmallestNonzeroFloat64}
	results := 0
	for range 5000 {
		l := basin()
		l.Distance, l.Channel.Centre = radio.Metres(between(0.1, 1e6)), radio.MHz(between(100, 1e5))
		l.Channel.Width = []radio.MHz{20, 40, 80, 160}[r.IntN(4)]
		l.Mode = radio.Mode{Standard: []radio.Standard{"", radio.N, radio.AC, radio.AX}[r.IntN(4)], Streams: r.IntN(5)}
		l.Obstacle, l.Clearance = l.Distance*radio.Metres(r.Float64()), radio.Metres(r.NormFloat64()*10)
		l.Walls = []radio.Wall{{Material: "old shed", Stated: radio.DB(between(1, 200)), Count: r.IntN(100)}}
		l.Load, l.Ends[0].Port = radio.BitRate(between(1, 1e12)), radio.BitRate(between(1, 1e12))
		if v := radio.DB(wild[r.IntN(len(wild))]); r.IntN(4) == 0 {
			targets := []*radio.DB{&l.Other, &l.Margin, &l.Ends[0].Feeder, &l.Ends[1].NoiseFigure, &l.Walls[0].Stated}
			*targets[r.IntN(len(targets))] = v
		}
		p, err := l.Paper()
		finite(t, p)
		if err == nil {
			results++
		}
		if p.Best.Found && (p.Best.Margin < p.Wanted-1e-6 || p.Usable > p.Best.Rate) {
			t.Errorf("%+v: %+v", l, p)
		}
	}
	if results < 1000 {
		t.Errorf("only %d of 5000 links gave a result", results)
	}
}

func FuzzPaper(f *testing.F) {
	nan, inf := math.NaN(), math.Inf(1)
	f.Add(300.0, 5500.0, 20.0, 14.0, 16.0, 0.0, 75.0, 1.0, 4.0, int64(25e6), int64(1e9), "ac", 2, 0.22)
	f.Add(nan, inf, nan, -inf, nan, inf, nan, nan, nan, int64(math.MinInt64), int64(math.MaxInt64), "ax", -1, nan)
	f.Add(0.2, 100.0, 160.0, 100.0, 80.0, 0.0, 0.1, -1e4, 200.0, int64(1e12), int64(1), "ax", 4, 10.0)
	f.Add(1e6, 1e5, 40.0, -200.0, -50.0, 200.0, 5e5, -1e4, 0.0, int64(0), int64(0), "n", 1, 1e-4)
	f.Add(0.1, 1000.0, 80.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, int64(1), int64(0), "", 0, 0.0)
	f.Fuzz(func(t *testing.T, d, freq, width, power, gain, feeder, at, clearance, other float64, load, port int64, standard string, streams int, thick float64) {
		limit := radio.DBm(power)
		l := radio.Link{
			Ends: [2]radio.Station{
				{Name: "a", Power: radio.DBm(power), Gain: radio.DBi(gain), Feeder: radio.DB(feeder), Port: radio.BitRate(port)},
				{Name: "b", Power: radio.DBm(gain), Gain: radio.DBi(power), Sensitivity: map[int]radio.DBm{streams: radio.DBm(power)}},
			},
			Distance: radio.Metres(d), Channel: radio.Channel{Centre: radio.MHz(freq), Width: radio.MHz(width)},
			Mode:     radio.Mode{Standard: radio.Standard(standard), Streams: streams},
			Walls:    []radio.Wall{{Material: "metal"}, {Material: "brick", Thickness: radio.Metres(thick), Count: streams}},
			Obstacle: radio.Metres(at), Clearance: radio.Metres(clearance), Other: radio.DB(other),
			Limit: &limit, Load: radio.BitRate(load),
			Multipath: &radio.Multipath{Percent: power, Geoclimatic: gain, Height: radio.Metres(clearance), Inclination: other, Refraction: feeder},
		}
		for range 3 { // with all, without walls, bare: each gets past more checks
			p, err := l.Paper()
			finite(t, p)
			if err != nil && !errors.Is(err, radio.ErrRange) && !errors.Is(err, radio.ErrNoRate) {
				t.Errorf("an error of no kind: %v", err)
			}
			if p.Usable < 0 || p.Usable > p.Hopeful || p.Near && p.Share == 0 {
				t.Errorf("%+v", p)
			}
			l.Ends[1].Sensitivity, l.Multipath = nil, nil
			l.Walls = l.Walls[:max(len(l.Walls)-1, 0)]
		}
	})
}

func FuzzParseWall(f *testing.F) {
	for _, s := range []string{"two brick walls", "2 x concrete wall 200 mm", "old shed 12 dB", "", "9e999 dB", "1.1.1mm x", "\x00\xff 5",
		"metal 1e3 m", "999999999999999999999 brick"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		w, err := radio.ParseWall(text)
		finite(t, w)
		if err != nil {
			if w != (radio.Wall{}) {
				t.Errorf("%q: %+v beside %v", text, w, err)
			}
			return
		}
		loss, err := w.Loss(5500)
		finite(t, loss)
		if err == nil && loss.DB < 0 {
			t.Errorf("%q: %+v", text, loss)
		}
	})
}
