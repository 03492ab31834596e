package radio

import (
	"errors"
	"math"
)

const lightSpeed = 299_792_458 // m/s, exact (SI)

// Loss is one thing that the link pays for.
type Loss struct {
	What  string
	DB    DB
	Basis string // where the figure is from
}

// FreeSpaceLoss is the loss between isotropic antennas in plain view,
// 20 log10(4 pi d f / c), as ITU-R P.525 has it. It takes 0.1 m to 1000 km and
// 100 MHz to 100 GHz and is never below zero, so that no receiver gets more
// than was sent.
func FreeSpaceLoss(d Metres, f MHz) (DB, error) {
	err := errors.Join(
		within("distance", d, leastMetres, mostMetres, "m"),
		within("frequency", f, leastMHz, mostMHz, "MHz"))
	if err != nil {
		return 0, err
	}
	l := 20 * math.Log10(4*math.Pi*float64(d)*float64(f)*1e6/lightSpeed)
	return DB(max(l, 0)), nil
}

func wavelength(f MHz) float64 { return lightSpeed / (float64(f) * 1e6) }
