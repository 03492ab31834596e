package ternquay

import "time"

// Change is one thing that is no longer as planned.
type Change struct {
	What    string // happened, in words
	Finding string // the key of the finding that tells of it
	Lost    bool   // it is made by Lose, the others by Drift
	restart string // the agent that starts anew with all that it feeds
	do      func(w *world)
	undo    func(w *world) // what is lost comes back
}

// drift is what happens after the site was as planned.
var drift = []Change{
	{What: "the access point in the office is dark", Finding: "missing-device/office-ap", Lost: true,
		do: func(w *world) { w.box("office-ap").off = true }, undo: func(w *world) { w.box("office-ap").off = false }},
	{What: "the little switch in the sail loft is dark, and both cameras behind it", Finding: "missing-device/loft-switch", Lost: true,
		do: func(w *world) { w.box("loft-switch").off = true }, undo: func(w *world) { w.box("loft-switch").off = false }},
	{What: "someone has plugged a device that nobody knows into a spare port of the shed", Finding: "unknown-device/00:00:5e:00:53:66",
		do: func(w *world) {
			w.boxes = append(w.boxes, box{name: "stranger", mac: "00:00:5e:00:53:66", addr: "203.0.113.150", vlan: cameras, at: "shed-switch/8", class: 3, watts: 12.4})
		}},
	{What: "the camera at the gate hangs on another port", Finding: "moved-device/gate-cam",
		do: func(w *world) { w.box("gate-cam").at = "quay-switch/7" }},
	{What: "the camera at the hoist was exchanged", Finding: "replaced-device/hoist-cam",
		do: func(w *world) { w.box("hoist-cam").mac = "00:00:5e:00:53:3a" }},
	{What: "the port of the frost sensor is in the VLAN of the cameras", Finding: "wrong-vlan/shed-switch/6",
		do: func(w *world) {
			w.panels["shed-switch"].vlan[6] = cameras
			w.box("frost-sensor").vlan = cameras
		}},
	{What: "the cable to the radio has a bad pair", Finding: "link-slow/quay-switch/8",
		do: func(w *world) { w.box("quay-radio").fast = false }},
	{What: "the camera at the slipway heats and lights", Finding: "port-power-near/quay-switch/5",
		do: func(w *world) { w.box("slip-cam").watts = 14.21 }},
	{What: "a cold night: all that the shed feeds draws more", Finding: "supply-power-near/shed-switch supply 1",
		do: func(w *world) {
			for name, watts := range map[string]float64{"shed-ap": 14.8, "shed-cam": 10.8, "hoist-cam": 10.2, "berth-ap": 15.4, "shed-door": 2.4} {
				w.box(name).watts = watts
			}
		}},
	{What: "the switch in the shed has just started, and what it feeds with it", Finding: "restarted/shed-switch", restart: "shed-switch",
		do: func(*world) {}},
	{What: "the clock of the recorder is seven minutes slow", Finding: "clock-off/recorder",
		do: func(w *world) { w.slow = 7 * time.Minute }},
}

// standing are the findings that the site has from the start: nobody took the
// community "public" from a camera, and most of its gear has no SNMPv3.
var standing = []string{"default-community/slip-cam", "weak-snmp/site"}
