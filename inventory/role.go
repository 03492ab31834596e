package inventory

import "slices"

// Role is what a device is for. The empty role is unknown.
type Role string

// The roles that a plan may give.
const (
	Router            Role = "router"
	Switch            Role = "switch"
	AccessPoint       Role = "access-point"
	Radio             Role = "radio"
	Camera            Role = "camera"
	Recorder          Role = "recorder"
	Server            Role = "server"
	UPS               Role = "ups"
	Injector          Role = "injector"            // a midspan or passive injector: feeds, does not talk
	PassThroughSwitch Role = "pass-through-switch" // fed over its uplink, feeds on
	PlainSwitch       Role = "plain-switch"        // no management, or none in use
	Phone             Role = "phone"
	Laptop            Role = "laptop"
	Tablet            Role = "tablet"
	Printer           Role = "printer"
	Sensor            Role = "sensor"
	Controller        Role = "controller" // lift, alarm, heating, door
	Television        Role = "television"
	OtherRole         Role = "other"
)

// Roles lists every role, in the order in which reports show them.
var Roles = []Role{Router, Switch, PassThroughSwitch, PlainSwitch, Injector, AccessPoint, Radio, Camera, Recorder,
	Server, UPS, Printer, Sensor, Controller, Television, Phone, Laptop, Tablet, OtherRole}

// IsInfrastructure reports whether others depend on the device: what stands
// behind it is folded into its own finding.
func (r Role) IsInfrastructure() bool {
	return slices.Contains([]Role{Router, Switch, PassThroughSwitch, PlainSwitch, Injector, AccessPoint, Radio}, r)
}

// IsPassive reports whether the device has no address of its own and is never
// seen on the network: it can be judged only by what hangs behind it.
func (r Role) IsPassive() bool {
	return r == Injector || r == PassThroughSwitch || r == PlainSwitch
}

// Roams reports whether the device comes and goes at its owner's will, so that
// its absence and its place mean nothing.
func (r Role) Roams() bool {
	return r == Phone || r == Laptop || r == Tablet
}
