package radio

import (
	"errors"
	"fmt"
	"math"
)

const (
	slabBasis   = "ITU-R P.2040-3 slab, dry and smooth"
	statedBasis = "stated by the plan"

	// worseLoss is the middle of the 10 to 30 dB that wet brick, render on metal
	// lath, foil-backed insulation and coated glass add in practice.
	worseLoss DB = 20

	vacuumPermittivity = 8.8541878188e-12 // F/m, CODATA 2022

	// blocked stands for no way through, as sheet metal. Ours: more than any
	// link has to spare, yet a number.
	blocked DB = 100
)

// WallNote belongs beside every figure that Wall.Loss gives.
const WallNote = "Figures are for dry, smooth walls without steel; real ones are usually worse, and wet brick, coated glass or foil adds 10 to 30 dB (common practice)."

// material is a row of Table 3 of ITU-R P.2040-3: relative permittivity a*f^b,
// conductivity c*f^d S/m, f in GHz.
type material struct {
	name       string
	a, b, c, d float64
	from, to   float64 // GHz
	usual      Metres  // thickness when none is given: ours
}

var materials = []material{
	{"concrete", 5.24, 0, 0.0462, 0.7822, 1, 100, 0.200},
	{"brick", 3.91, 0, 0.0238, 0.16, 1, 40, 0.220},
	{"plasterboard", 2.73, 0, 0.0085, 0.9395, 1, 100, 0.025},
	{"wood", 1.99, 0, 0.0047, 1.0718, 0.001, 100, 0.040},
	{"glass", 6.31, 0, 0.0036, 1.3394, 0.1, 100, 0.006},
	{"chipboard", 2.58, 0, 0.0217, 0.78, 1, 100, 0.018},
	{"metal", 1, 0, 1e7, 0, 1, 100, 0.001},
}

// Wall is one or several like walls in the path.
type Wall struct {
	Material  string // concrete, brick, plasterboard, wood, glass, chipboard, metal; where Stated is set any words, the count among them
	Thickness Metres // zero: what is usual for the material
	Count     int    // zero counts as one
	Worse     bool   // wet, coated or foil-backed: 20 dB more
	Stated    DB     // of each, as the plan or the maker states; zero: from the material
}

// Loss is what all of w costs at normal incidence, with the words and the
// basis for a report. An unknown material, a thickness beyond 10 m, more than
// a hundred walls, or a frequency outside what the recommendation gives for
// the material is an error that wraps ErrRange.
func (w Wall) Loss(f MHz) (Loss, error) {
	count := max(w.Count, 1)
	err := errors.Join(
		within("number of walls", w.Count, 0, 100, ""),
		within("loss of a wall", w.Stated, 0, mostLoss, "dB"))
	if err != nil {
		return Loss{}, err
	}
	l := Loss{What: w.Material, Basis: statedBasis}
	one := w.Stated
	if one == 0 {
		m, ok := materialNamed(w.Material)
		if !ok {
			return Loss{}, fmt.Errorf("wall of %.40q: no such material: %w", w.Material, ErrRange)
		}
		thickness := w.Thickness
		if thickness == 0 {
			thickness = m.usual
		}
		if one, err = m.slab(thickness, f); err != nil {
			return Loss{}, err
		}
		l.Basis = slabBasis
		if m.name != "metal" {
			l.What = fmt.Sprintf("%s %g mm", m.name, math.Round(float64(thickness)*1e4)/10)
		}
	}
	if w.Worse {
		one += worseLoss
		l.What += ", wet, coated or foil-backed"
		l.Basis += "; 20 dB added by common practice"
	}
	if count > 1 && w.Stated == 0 {
		l.What = fmt.Sprintf("%d x %s", count, l.What)
	}
	l.DB = DB(count) * min(one, mostLoss)
	return l, nil
}

func materialNamed(name string) (material, bool) {
	for _, m := range materials {
		if m.name == name {
			return m, true
		}
	}
	return material{}, false
}

// slab is the loss of one slab at normal incidence: what the two faces reflect
// and what the material absorbs, with the reflections inside added as powers,
// since a real wall is too uneven for their interference.
func (m material) slab(thickness Metres, f MHz) (DB, error) {
	err := errors.Join(
		within(m.name+" thickness", thickness, 0.0001, 10, "m"),
		within("frequency for "+m.name, f, MHz(m.from*1000), MHz(m.to*1000), "MHz"))
	if err != nil {
		return 0, err
	}
	ghz := float64(f) / 1000
	eps := m.a * math.Pow(ghz, m.b)
	sigma := m.c * math.Pow(ghz, m.d)
	loss := sigma / (2 * math.Pi * ghz * 1e9 * vacuumPermittivity) // imaginary part of the permittivity

	mod := math.Hypot(eps, loss)
	re, im := math.Sqrt((mod+eps)/2), math.Sqrt((mod-eps)/2) // refractive index
	reflected := (math.Pow(re-1, 2) + im*im) / (math.Pow(re+1, 2) + im*im)
	passed := math.Exp(-4 * math.Pi * im * float64(thickness) / wavelength(f))
	through := math.Pow(1-reflected, 2) * passed / (1 - math.Pow(reflected*passed, 2))
	if !(through > math.Pow(10, -float64(blocked)/10)) {
		return blocked, nil
	}
	return DB(max(0, -10*math.Log10(through))), nil
}
