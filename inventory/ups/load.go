package ups

import (
	"errors"
	"fmt"
)

// NearShare is the share of either rating from which a load is near it
// (common practice).
const NearShare = 0.8

const (
	// usualPowerFactor is that of a modern supply with correction: 0.9 to 0.99;
	// old ones have 0.6 to 0.7 (a calculator's notes).
	usualPowerFactor = 0.9

	// usualConversion is the efficiency of a switch's own supply: 0.85 to 0.9
	// (common practice).
	usualConversion = 0.85
)

// Rating is what a UPS may carry. Both bind separately; a small one has 0.5 to
// 0.6 W for each VA (common practice). Zero is not said; one is needed.
type Rating struct {
	Real     Watts
	Apparent VoltAmps
}

// Share is the greater of the load's shares of the two ratings, as
// upsOutputPercentLoad of RFC 1628 has it. Factor is the load's power factor,
// above 0 to 1; zero counts as 0.9.
func (r Rating) Share(load Watts, factor float64) (float64, error) {
	factor = or(factor, usualPowerFactor)
	err := errors.Join(
		within("load", load, 0, 1e6, "W"),
		within("power factor", factor, 0.1, 1, ""))
	if r.Real != 0 || r.Apparent == 0 {
		err = errors.Join(err, within("rating", r.Real, 1, 1e6, "W"))
	}
	if r.Apparent != 0 {
		err = errors.Join(err, within("rating", r.Apparent, 1, 1e6, "VA"))
	}
	if err != nil {
		return 0, fmt.Errorf("load share: %w", err)
	}
	var share float64
	if r.Real != 0 {
		share = float64(load / r.Real)
	}
	if r.Apparent != 0 {
		share = max(share, float64(load)/factor/float64(r.Apparent))
	}
	return share, nil
}

// MainsLoad is what a PoE switch takes from the mains: what it delivers at its
// ports and its own need, by the efficiency of its supply; zero efficiency
// counts as 0.85. Reckon with the night: infrared lamps are UPS load too.
func MainsLoad(delivered, own Watts, efficiency float64) (Watts, error) {
	efficiency = or(efficiency, usualConversion)
	err := errors.Join(
		within("power delivered", delivered, 0, 1e5, "W"),
		within("own need", own, 0, 1e5, "W"),
		within("efficiency", efficiency, 0.1, 1, ""))
	if err != nil {
		return 0, fmt.Errorf("mains load: %w", err)
	}
	return (delivered + own) / Watts(efficiency), nil
}
