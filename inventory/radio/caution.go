package radio

// Cautions to print beside the advice that they belong to.
const (
	// CautionLimits belongs to every word about power, channel and DFS.
	CautionLimits = "Radiated power, channels, outdoor use and radar detection (DFS) are set by the local regulator and change; check " +
		"the local rules before you change them."

	// CautionHeights belongs to advice to look at, align or clear the path of an antenna.
	CautionHeights = "Work on masts, roofs and ladders only with the means against a fall that local rules ask for, never alone or in " +
		"wind, and leave what you are not equipped for to a trained rigger."

	// CautionLightning belongs to every outdoor antenna and every cable that enters a building.
	CautionLightning = "Stay off roof and mast while thunder is about. Surge protection and bonding at the building entry follow the local " +
		"electrical code, and two buildings may differ in earth potential: ask a licensed electrician."

	// CautionTransmitter belongs to advice that brings people close to an antenna.
	CautionTransmitter = "Switch the transmitter off before working close to the front of its antenna, and keep the distance that its maker states."
)
