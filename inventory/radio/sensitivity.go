package radio

import (
	"errors"
	"fmt"
	"math"
)

// sensitivity20 is what a receiver must do at 20 MHz, dBm by MCS: the minimum
// sensitivity of IEEE 802.11 (10 % packet errors at 4096 octets; restated in
// regulators' rules). Each doubling of the width takes 3 dB. Real radios are
// 5 to 10 dB better at low MCS and 0 to 5 dB at high ones (common practice),
// so this is a safe floor.
var sensitivity20 = [len(modulations)]DBm{-82, -79, -77, -74, -70, -66, -65, -64, -59, -57, -54, -52}

// strongest is the most that a receiver at 5 and 6 GHz must stand (IEEE 802.11,
// restated in regulators' rules).
const strongest DBm = -30

// usualNoiseFigure is the standard's own assumption behind its sensitivities
// (from memory). Good receivers have about 6 dB.
const usualNoiseFigure DB = 10

// Sensitivity is the least level at which a receiver must manage the MCS,
// counted within one stream, 0 to 11, at 20, 40, 80 or 160 MHz. Other values
// wrap ErrNoRate.
func Sensitivity(mcs int, width MHz) (DBm, error) {
	steps, ok := map[MHz]DBm{20: 0, 40: 1, 80: 2, 160: 3}[width]
	if !ok || mcs < 0 || mcs >= len(sensitivity20) {
		return 0, fmt.Errorf("sensitivity for MCS %d at %v MHz: %w", mcs, float64(width), ErrNoRate)
	}
	return sensitivity20[mcs] + 3*steps, nil
}

// NoiseFloor is thermal noise in the width and what the receiver adds:
// -174 dBm/Hz + 10 log10(Hz) + noise figure.
func NoiseFloor(width MHz, figure DB) (DBm, error) {
	err := errors.Join(
		within("width", width, 0.001, mostMHz, "MHz"),
		within("noise figure", figure, 0, 50, "dB"))
	if err != nil {
		return 0, err
	}
	return DBm(-174 + 10*math.Log10(float64(width)*1e6) + float64(figure)), nil
}
