package inventory

import (
	"fmt"
	"io"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"time"

	"boundwalk/inventory/poe"
)

// Power is an amount of power in milliwatts.
type Power = poe.Power

// Class is a power class of IEEE 802.3; its zero value is unknown.
type Class = poe.Class

// BitRate is bits in a second.
type BitRate int64

// Mbit is the rate in Mbit/s.
func (r BitRate) Mbit() float64 { return float64(r) / 1e6 }

// String is the rate with its unit, such as "4 Mbit/s" or "1 Gbit/s".
func (r BitRate) String() string {
	f := func(v float64, unit string) string { return strconv.FormatFloat(v, 'f', -1, 64) + " " + unit }
	switch {
	case r >= 1e9 && r%1e8 == 0:
		return f(float64(r)/1e9, "Gbit/s")
	case r >= 1e6:
		return f(float64(r/1e4)/100, "Mbit/s")
	case r >= 1e3:
		return f(float64(r/10)/100, "kbit/s")
	}
	return f(float64(r), "bit/s")
}

// Device is one planned thing, its model merged in. Zero values mean that the
// plan does not say.
type Device struct {
	Name      string
	Line      int // of the plan file, for words to people; 0: unknown
	Role      Role
	Model     string // the plan's model, when it names one
	Maker     string
	Product   string // the maker's own name for it
	Serial    string
	Firmware  string
	Note      string
	MACs      []MAC
	Addresses []netip.Addr
	Agent     netip.AddrPort // where its SNMP agent answers, if not at its address and the access's port
	Access    string

	At   PortRef  // where it hangs
	Via  []string // injectors between it and At, nearest first
	Port string   // its own port that leads to At (a switch's uplink); empty: not said

	VLAN      int   // untagged on the port that it hangs on; 0: the network's
	Tagged    []int // tagged on that port
	Speed     BitRate
	Important bool
	Away      []Season   // when it is meant to be absent
	Restarts  []Schedule // when it may restart without a finding

	Room  string
	Panel string
	Cable CableRun // to At

	// As a PD.
	Class   Class
	Draws   Draws
	Takes   Feed // passive need; zero: negotiated, or fed from elsewhere
	MinVolt float64
	MaxVolt float64 // what its maker allows; 0: not said
	Mains   string  // what it plugs into: a UPS of the plan, or "mains"

	AnyPolarity bool // of a passive feed, by its maker's word

	// As a PSE.
	Feeds      Feed
	Ports      int // numbered 1 to Ports, when it has numbered ports
	PortPlans  []PortPlan
	Spare      []string
	Guest      []string // ports where unknown devices are meant to appear
	Budget     Power
	Supplies   []Power // each supply's power, when there are several
	Redundant  bool    // of several supplies, one is a reserve
	Reserves   poe.Reservation
	Guard      Power
	Own        Power // its own need, of a pass-through switch
	Efficiency float64

	// As a camera, recorder or UPS.
	Stream    BitRate // each camera's stream at its cap
	Duty      float64 // share of the day that is recorded; 0: not said, counts as 1
	Recorder  string  // which recorder keeps it; empty: the only one
	Recording Recording
	UPS       UPSPlan

	FactoryLogin *FactoryLogin
	Objects      []PlanObject // objects that the plan names for this model
}

// Feed is what a port or injector puts on the cable.
type Feed = poe.Feed

// Draws is what a device draws at its own input.
type Draws struct{ Usual, Most Power }

// CableSpec is the make of a cable.
type CableSpec struct {
	Gauge     int    // AWG; 0: not said
	Conductor string // copper, cca; empty: not said
	Stranded  bool
}

// CableRun is one run of cable. Length zero: not said.
type CableRun struct {
	CableSpec
	Label   string
	Length  float64 // metres
	Celsius float64 // 0: not said, counts as 40
	Bundle  int     // cables lying together; 0: not said
	Outdoor bool
}

// PortPlan is what the plan says of one port of a switch.
type PortPlan struct {
	Port   string
	Label  string
	Max    Power // what the administrator allows; 0: not said
	Feeds  Feed  // differs from the switch's
	PSE    string
	Lowest bool // shed first
}

// Season is a span of months, both ends included, that may wrap over the year's end.
type Season struct{ From, To time.Month }

// Contains reports whether t, in its own location, falls into the season.
func (s Season) Contains(t time.Time) bool {
	m := t.Month()
	if s.From <= s.To {
		return s.From <= m && m <= s.To
	}
	return m >= s.From || m <= s.To
}

// String is the form of the plan file, such as "Nov-Mar".
func (s Season) String() string { return s.From.String()[:3] + "-" + s.To.String()[:3] }

// Schedule is a recurring span of time: from a cron time for a duration.
type Schedule struct {
	Cron string
	For  time.Duration
}

// Recording is what a recorder is meant to keep.
type Recording struct {
	Disk int64 // bytes usable
	Keep time.Duration
}

// UPSPlan is a UPS on paper.
type UPSPlan struct {
	Rated   Power
	Load    Power         // the load meant; 0: summed from what names it as mains
	Battery float64       // watt-hours; 0: not said
	Runtime time.Duration // wanted at that load; 0: not said
}

// FactoryLogin is an account that the maker ships; public knowledge, yet never printed.
type FactoryLogin struct {
	Over     string // http, form, ssh, rtsp, onvif, snmp
	Port     uint16
	Path     string
	User     string
	Password FactoryPassword
	Fields   map[string]string // a form's further fields
	UserKey  string            // a form's field names
	PassKey  string
	Success  string // what only lies behind a form's login
	Failure  string // what a form's answer to a wrong login holds
	Post     string // the path that a form is sent to; empty: Path
	Proof    string // the path of a page behind the login that holds Success; empty: the answer itself
	Setup    string // what the page holds while the device has no password yet
	Contrast bool   // a second, surely wrong try is allowed
	TLS      bool
}

// FactoryPassword prints as (hidden) everywhere; convert to string to use it.
type FactoryPassword string

// String hides the password.
func (FactoryPassword) String() string { return "(hidden)" }

// GoString hides the password.
func (FactoryPassword) GoString() string { return "(hidden)" }

// Format hides the password whatever the verb.
func (FactoryPassword) Format(f fmt.State, _ rune) { io.WriteString(f, "(hidden)") }

// MarshalText hides the password.
func (FactoryPassword) MarshalText() ([]byte, error) { return []byte("(hidden)"), nil }

// PlanObject is an SNMP object that the plan names for a model, read only.
type PlanObject struct {
	Use   string  // power, level, rate
	OID   string  // without the index
	Index string  // interface, pse, port, none
	Unit  string  // mW, W, dW, dBm, Mbit/s, kbit/s, bit/s
	Scale float64 // from Unit to the base unit (mW, dBm, bit/s)
}

// Address is the device's first IPv4 address, else its first address; invalid: none planned.
func (d *Device) Address() netip.Addr {
	for _, a := range d.Addresses {
		if a.Is4() {
			return a
		}
	}
	if len(d.Addresses) > 0 {
		return d.Addresses[0]
	}
	return netip.Addr{}
}

// HasMAC reports whether m is one of the device's planned addresses.
func (d *Device) HasMAC(m MAC) bool { return slices.Contains(d.MACs, m) }

// PortPlan finds what the plan says of one port; the zero value where it says nothing.
func (d *Device) PortPlan(port string) PortPlan {
	for _, p := range d.PortPlans {
		if p.Port == port {
			return p
		}
	}
	return PortPlan{Port: port}
}

// FeedAt is what the port gives: its own, else the device's.
func (d *Device) FeedAt(port string) Feed {
	if f := d.PortPlan(port).Feeds; !f.IsZero() {
		return f
	}
	return d.Feeds
}

// AwayAt reports whether the plan expects the device to be absent at t.
func (d *Device) AwayAt(t time.Time) bool {
	return slices.ContainsFunc(d.Away, func(s Season) bool { return s.Contains(t) })
}

// RadioLink is one radio link on paper. Zero values: not said.
type RadioLink struct {
	Name      string
	Line      int
	Between   [2]string // device names, the near side first
	Distance  float64   // metres
	Frequency float64   // MHz
	Width     int       // MHz
	Standard  string    // n, ac, ax
	Streams   int
	TxPower   float64    // dBm at the radio
	Gain      [2]float64 // dBi of each end's antenna
	Feeder    float64    // dB lost in cable and plugs at each end
	EIRPLimit *float64   // dBm, as the plan states it for its country
	Through   []string   // what stands in the way, such as "brick wall"
	Obstacle  float64    // metres from the near side to the highest point below the ray
	Clearance float64    // metres of free height there
	Needs     BitRate
	PortSpeed [2]BitRate // planned at each end's cable side
	Level     *float64   // dBm expected, when the installer wrote one down
	Others    BitRate    // load beside the cameras'
}

// PortName is the label of a port as people write it: trimmed, in lower case.
func PortName(s string) string { return strings.ToLower(strings.TrimSpace(s)) }
