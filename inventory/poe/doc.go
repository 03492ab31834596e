// Package poe has the rules of power over Ethernet: classes, what a port grants,
// whether a feed and a device go together, what a planned device gets at the end
// of its cable, and what a power supply has left.
//
// Compare says what a feed does to a device, harm first. OnPaper works out the
// planned line: volts at the device, current, watts at the port against what it
// grants. Budget has the sums over the ports of one power supply, and answers
// whether it carries one more. LevelOf says when a share is near its limit. The
// cable itself is in package cable.
//
// Powers are a Power where they are counted against a budget and float64 watts
// inside a circuit. The class figures come from the Ethernet Alliance overview
// of 802.3bt (2018) and restated 802.3 tables; the IEEE text was not read.
package poe
