package inventory

import "time"

// History is what the logbook remembers for Assemble and Audit. Its zero value
// is a first run.
type History struct {
	Previous *Snapshot // the last complete run; nil: none
	Runs     []RunMark // complete runs, newest first, at most 50; without the one being judged
	Places   map[MAC]Place
	Names    map[MAC]string           // what an unknown device was called before
	First    map[string]time.Time     // device name -> when first seen
	Last     map[string]time.Time     // device name -> when last seen present
	Absences map[string]Absence       // device name -> its absence that still lasts
	Flips    map[string][]Claim       // address -> the MACs that had it in past runs, newest first
	Peaks    map[PortRef][]Peak       // by day, oldest first
	Supplies map[SupplyRef][]Peak     // by day, oldest first
	Levels   map[string][]Level       // radio -> daily median level, oldest first
	Uptimes  map[string][]UpTime      // device -> readings, newest first, at most 5
	Counters map[PortRef]CounterBase  // counters at the start of the week, and of the last run
	Open     map[string]Episode       // open findings by key
	Pulse    map[string]PulsePresence // what the pulse saw last
	Logins   map[string][]LoginResult // device -> results, newest first
	Prints   map[string]string        // device and port -> certificate fingerprint
	Private  map[string]int           // network -> private devices a week ago
	Rates    map[PortRef]Rates        // traffic of the last hours
	Booted   time.Time                // when this machine started; zero: not known
	Outages  []Outage
	Firmware map[string]string   // device -> last firmware
	Speeds   map[PortRef]BitRate // highest speed seen on a port within 35 days
}

// RunMark is one complete run: who was present.
type RunMark struct {
	ID       int64
	At       time.Time
	Settling bool // within the site's time to come up: no absence counts
}

// Absence is a device's unbroken row of looks that did not find it.
type Absence struct {
	Since time.Time // the first such run
	Runs  int
}

// Claim is one run's owner of an address.
type Claim struct {
	At  time.Time
	MAC MAC
}

// SupplyRef names a supply.
type SupplyRef struct{ Switch, Supply string }

// Peak is the highest draw of one day of the site's calendar.
type Peak struct {
	Day   time.Time // midnight in the site's zone
	At    time.Time
	Draw  Power
	Basis Basis
	Night bool // samples exist between local sunset-ish 21:00 and 05:00
}

// Level is a radio's median level of one day.
type Level struct {
	Day time.Time
	DBm float64
}

// CounterBase is two earlier readings of a port's counters.
type CounterBase struct {
	Last PortState // the last complete run's
	Week PortState // the oldest within a week
}

// Episode is a finding's span in the logbook.
type Episode struct {
	Key         string
	Kind        string
	Severity    string
	Opened      time.Time
	Seen        time.Time
	Cleared     time.Time // zero: open
	HushedUntil time.Time
	HushWhy     string
}

// PulsePresence is what the pulse last knew of a device.
type PulsePresence struct {
	At     time.Time
	Up     bool
	Looked bool
}

// Rates is the traffic on a port between two readings.
type Rates struct {
	From, To time.Time
	In, Out  BitRate // means
	InPeak   BitRate // the busiest stretch
	OutPeak  BitRate
}

// Outage is a span in which the outside could not be reached, or in which the
// whole site was dark.
type Outage struct {
	From, To time.Time // To zero: it lasts
	What     string    // internet, power
}
