package radio

import (
	"errors"
	"math"
)

// multipathFrom is the length from which the clear-air method of ITU-R P.530-18
// needs computing; on shorter paths the fade may be set to zero.
const multipathFrom Metres = 5000

// Multipath is what the clear-air method of ITU-R P.530-18 asks about a path of
// more than 5 km. The values come from the recommendation's maps and from the
// terrain; there are no defaults.
type Multipath struct {
	Percent      float64 // of the worst month for which the fade may be deeper, 0.00001 to 100
	Geoclimatic  float64 // K
	Height       Metres  // h_c
	LowerAntenna Metres  // h_L
	Inclination  float64 // e_p
	Refraction   float64 // v_sr
}

// Fade is how deep the clear-air fade on the path is for the given share of
// the time: zero up to 5 km, at most 200 dB beyond.
func (m Multipath) Fade(d Metres, f MHz) (DB, error) {
	err := errors.Join(
		within("distance", d, leastMetres, mostMetres, "m"),
		within("frequency", f, leastMHz, mostMHz, "MHz"))
	if err != nil {
		return 0, err
	}
	if d <= multipathFrom {
		return 0, nil
	}
	err = errors.Join(
		within("multipath percent", m.Percent, 0.00001, 100, "%"),
		within("geoclimatic factor", m.Geoclimatic, 1e-12, 1e3, ""),
		within("multipath height", m.Height, -500, mostHeight, "m"),
		within("height of the lower antenna", m.LowerAntenna, -500, mostHeight, "m"),
		within("path inclination", m.Inclination, 0, 1000, ""),
		within("refraction", m.Refraction, -10, 10, ""))
	if err != nil {
		return 0, err
	}
	ghz := float64(f) / 1000
	occurs := math.Log10(m.Geoclimatic) + 3.51*math.Log10(float64(d)/1000) + 0.447*math.Log10(ghz*ghz+13) -
		0.376*math.Tanh((float64(m.Height)-147)/125) - 0.334*math.Pow(m.Inclination, 0.39) -
		0.00027*float64(m.LowerAntenna) + 17.85*m.Refraction
	return DB(min(max(0, 10*(occurs-math.Log10(m.Percent))), mostLoss)), nil
}
