package radio

import (
	"errors"
	"math"
)

const (
	// clearShare of the first Fresnel zone is to be free everywhere along the
	// path: the usual engineering rule. ITU-R P.526 asks for the whole zone
	// before it speaks of line of sight.
	clearShare = 0.6

	// bulgeDivisor gives the Earth's bulge in metres from the two distances in
	// kilometres, with the effective radius of 8500 km (k = 4/3) of ITU-R P.526.
	bulgeDivisor = 17
)

// Zone is the first Fresnel zone at one point of a path.
type Zone struct {
	At     Metres // from the near side; zero: no such point
	Radius Metres // of the first zone
	Bulge  Metres // how far the Earth rises into the path there
	Wanted Metres // free height below the ray: 0.6 of the radius, and the bulge
}

// FresnelRadius is the radius of the first Fresnel zone at a point that lies
// near and far metres from the ends, sqrt(lambda d1 d2 / (d1+d2)), of which
// ITU-R P.526 and P.530 print rounded forms. Both distances are at least 0.1 m.
func FresnelRadius(near, far Metres, f MHz) (Metres, error) {
	err := errors.Join(
		within("distance to the near side", near, leastMetres, mostMetres, "m"),
		within("distance to the far side", far, leastMetres, mostMetres, "m"),
		within("frequency", f, leastMHz, mostMHz, "MHz"))
	if err != nil {
		return 0, err
	}
	d1, d2 := float64(near), float64(far)
	return Metres(math.Sqrt(wavelength(f) * d1 * d2 / (d1 + d2))), nil
}

// FresnelZone is the zone at a point that lies near and far metres from the ends.
func FresnelZone(near, far Metres, f MHz) (Zone, error) {
	r, err := FresnelRadius(near, far, f)
	if err != nil {
		return Zone{}, err
	}
	bulge := near / 1000 * far / 1000 / bulgeDivisor
	return Zone{At: near, Radius: r, Bulge: bulge, Wanted: clearShare*r + bulge}, nil
}

// DiffractionLoss is the loss over an obstacle on average terrain,
// 10 - 20 h/F1 dB (ITU-R P.526 and P.530), where clearance h is the free height
// between ray and obstacle (negative when the obstacle stands in the ray) and
// radius F1 that of the first zone there. It is meant for losses above about
// 15 dB, gives 10 dB for an obstacle that just touches the ray, and none from
// half a radius up. The result is at most 200 dB.
func DiffractionLoss(clearance, radius Metres) (DB, error) {
	err := errors.Join(
		within("clearance", clearance, -mostHeight, mostHeight, "m"),
		within("zone radius", radius, 0.001, mostHeight, "m"))
	if err != nil {
		return 0, err
	}
	return min(max(0, DB(10-20*clearance/radius)), mostLoss), nil
}
