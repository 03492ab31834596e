package poe

import (
	"cmp"
	"math"
	"slices"
)

// CautionMains stands beside advice to add or change a supply, an injector or a
// battery.
const CautionMains = "Supplies, injectors and batteries belong on a circuit that can carry them. " +
	"Follow the makers' sheets and the local electrical code; work on mains or on a battery bank is for a licensed electrician."

// unknownEfficiency of a pass-through switch: 0.85 to 0.9 by common practice.
const unknownEfficiency = 0.85

// Usable is what several supplies give together. Redundant ones must do without
// the largest of them, so one alone leaves nothing. Negative ones count as zero.
func Usable(supplies []Power, redundant bool) Power {
	var sum int64
	var largest Power
	for _, s := range supplies {
		sum += int64(max(s, 0))
		largest = max(largest, s)
	}
	if redundant {
		sum -= int64(largest)
	}
	return clamp(sum)
}

// PassThrough is the budget of a switch that is itself fed over its uplink:
// what arrives at its input less its own need, times the efficiency of its
// converter, and no more than its maker states. The input is the granted class's
// Input, not its Output, or what cable.Receive leaves of an injector. A stated
// budget of zero means none is stated, an efficiency outside 0 to 1 is taken as
// 0.85. Reserve its full class at the port that feeds it.
func PassThrough(input, own Power, efficiency float64, stated Power) Power {
	if !(efficiency > 0 && efficiency <= 1) {
		efficiency = unknownEfficiency
	}
	left := max(int64(input)-int64(max(own, 0)), 0)
	budget := Power(float64(clamp(left)) * efficiency)
	if stated > 0 {
		budget = min(budget, stated)
	}
	return budget
}

// Budget is one power supply, or one group of supplies, and what hangs on it.
// Leave out devices that an injector feeds: their watts are the injector's.
type Budget struct {
	Usable   Power // zero: not known
	Guard    Power // kept free, so that a device that starts cannot push it over
	Reported Power // its own figure of what is drawn; zero: not known
	Policy   Policy
	Ports    []PortLoad // those that give power or are planned to; read only
}

// Reserved is the sum that the switch has set aside, and the numbers of the
// ports for which it is not known and not in the sum, in the order of Ports.
func (b Budget) Reserved() (sum Power, unknown []int) {
	for _, p := range b.Ports {
		watts, by := b.Policy.Reserve(p)
		if by == 0 {
			unknown = append(unknown, p.Port)
		}
		sum = add(sum, watts)
	}
	return sum, unknown
}

// Drawn is the larger of what the supply reports and the sum of what its ports
// draw at most: peaks that do not fall together still have to be carried. Zero
// means that neither is known.
func (b Budget) Drawn() Power {
	var sum Power
	for _, p := range b.Ports {
		sum = add(sum, max(p.Draw, 0))
	}
	return max(sum, b.Reported)
}

// Shed lists the ports that lose power when short has to be freed, in order:
// lowest priority first, among equals the highest port number (restated from a
// switch manual). Only ports of a priority below that of above count; zero
// puts no bound. A port frees what is reserved for it.
func (b Budget) Shed(short Power, above int) []int {
	order := slices.Clone(b.Ports)
	slices.SortStableFunc(order, func(x, y PortLoad) int {
		return cmp.Or(cmp.Compare(rank(y.Priority), rank(x.Priority)), cmp.Compare(y.Port, x.Port))
	})
	var out []int
	for _, p := range order {
		if short <= 0 || (above > 0 && rank(p.Priority) <= rank(above)) {
			break
		}
		watts, _ := b.Policy.Reserve(p)
		short = add(short, -watts)
		out = append(out, p.Port)
	}
	return out
}

func rank(priority int) int {
	if priority < 1 || priority > 3 {
		return 3
	}
	return priority
}

// Shortage is one reason why a device does not fit.
type Shortage struct {
	// What is one of reserved (free of the reserved sum), drawn (free of what is
	// drawn), least-free (the maker's rule for letting one in).
	What string

	Free, Need Power
}

// Room is the answer to "does one more fit?".
type Room struct {
	// Fits is true only where every figure that it rests on is known. False with
	// no shortage means that nobody can tell: see Unknown.
	Fits bool

	// Need is what must be free for the device, by which rule. Zero by: not known.
	Need Power
	By   Reservation

	// Reserved and Drawn are without the device. Free is what the reserved sum
	// leaves of the budget above the guard; below zero it is overbooked.
	Reserved, Drawn, Free Power

	// Short is the largest shortage, zero if there is none.
	Short Power

	Shortages []Shortage // in the order of Shortage.What, nil if none

	// Unknown are the ports whose reservation is not known.
	Unknown []int

	// Sheds are the ports of lower priority that a switch which drops them in
	// favour of the device would drop.
	Sheds []int
}

// Room works out whether the device fits beside the other ports. It is held
// against what is reserved and against what is drawn: free power of one kind is
// no proof of the other. A device whose port number is among Ports replaces what
// stands there; number zero never does.
func (b Budget) Room(device PortLoad) Room {
	others := make([]PortLoad, 0, len(b.Ports))
	for _, p := range b.Ports {
		if p.Port != device.Port || p.Port == 0 {
			others = append(others, p)
		}
	}
	b.Ports = others

	var r Room
	r.Need, r.By = b.Policy.admission(device)
	r.Reserved, r.Unknown = b.Reserved()
	r.Drawn = b.Drawn()
	total := add(b.Usable, -max(b.Guard, 0))
	r.Free = add(total, -r.Reserved)
	if b.Usable <= 0 || r.By == 0 {
		return r
	}
	unused := add(total, -r.Drawn)
	r.lacks("reserved", r.Free, r.Need)
	r.lacks("drawn", unused, r.Need)
	r.lacks("least-free", min(r.Free, unused), b.Policy.leastFree(device))
	r.Fits = r.Short == 0 && len(r.Unknown) == 0
	if r.Short > 0 {
		r.Sheds = b.Shed(r.Short, rank(device.Priority))
	}
	return r
}

func (r *Room) lacks(what string, free, need Power) {
	if need <= free {
		return
	}
	r.Shortages = append(r.Shortages, Shortage{What: what, Free: free, Need: need})
	r.Short = max(r.Short, add(need, -free))
}

func clamp(sum int64) Power { return Power(min(max(sum, math.MinInt32), math.MaxInt32)) }
