// Package cable has the arithmetic of copper data cable that also carries
// power: the resistance of a run, and what a load at its far end gets.
//
// A caller builds a Run from what the plan says, asks it for its Resistance
// on two or four pairs, and hands that to Deliver (one load) or DeliverTree
// (loads behind a switch that passes its own feed on). Run.Breaches says where
// the run is outside the cabling standards.
//
// Figures are float64 in metres, degrees Celsius, volts, amperes, ohms and
// watts. No function returns NaN or an infinity, whatever it is given. Extra
// wire from twisting (1 to 3 %) is not counted; the assumed 40 °C covers it.
package cable
