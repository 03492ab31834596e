package radio

const (
	// planningShare of the air rate is what data gets on ordinary contention
	// Wi-Fi, by a radio maker's text; hopefulShare is the optimistic bound
	// (common practice).
	planningShare = 0.5
	hopefulShare  = 0.65

	// portShare of a cable port's speed is data (common practice).
	portShare = 0.9

	// nearShare of what a link carries is as much as cameras should take
	// (common practice).
	nearShare = 0.7
)

// Usable is what a link carries of data, both directions together, by the air
// rates at its two ends: half of the lower. A half-duplex link shares it
// between the directions. Zero when either rate is unknown.
func Usable(tx, rx BitRate) BitRate { return usable(tx, rx, planningShare) }

func usable(tx, rx BitRate, share float64) BitRate {
	low := min(tx, rx)
	if low <= 0 || low > mostRate {
		return 0
	}
	return BitRate(float64(low) * share)
}
