package ups

// Cautions to print beside the advice that they belong to.
const (
	// CautionBattery belongs to advice to replace or open a battery.
	CautionBattery = "A battery holds energy with the mains off: a short circuit burns, and lead-acid gives off hydrogen. Follow the " +
		"maker's manual for the exchange, keep metal and flames away, and hand old batteries in as local rules say."

	// CautionMains belongs to advice that touches what the UPS plugs into or
	// feeds, and above all in outbuildings and near water.
	CautionMains = "A UPS keeps its sockets live after the plug is pulled. Mains wiring, and any mains near water or in an outbuilding, " +
		"is work for a licensed electrician under the local code."

	// CautionDischarge belongs to advice to run a discharge test, which alone
	// proves a battery.
	CautionDischarge = "A discharge test may drop everything that the UPS feeds: choose a quiet hour and be on the site."
)
