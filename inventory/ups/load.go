package ups

import (
	"errors"
	"fmt"
)

// NearShare is the share of either rating from which a load is near it
// (common practice).
const NearShare = 0.8

// usualConversion is the efficiency of a switch's own supply: 0.85 to 0.9
// (common practice).
const usualConversion = 0.85

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
