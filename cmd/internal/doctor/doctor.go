// Package doctor judges whether a machine can do the job: each line says how
// something stands, and what to do about it. Rights, Clock, Port and Attached ask
// this machine; Networks, Agents and Presence judge what the caller read.
package doctor

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory"
)

// State is how something stands.
type State string

// The states, worst first.
const (
	Fail    State = "fail"    // the job is not done until this is
	Warn    State = "warn"    // it works, with less
	Unknown State = "unknown" // it could not be told
	Pass    State = "pass"
)

// Line is one thing that was looked at. Do is empty where nothing is to be done.
type Line struct {
	Part    string `json:"part"` // rights, interfaces, clock, logbook, agents, mail, ports, presence
	Subject string `json:"subject"`
	State   State  `json:"state"`
	Found   string `json:"found"`
	Do      string `json:"do"`
}

// Agents judges each planned agent by what a read of it told.
func Agents(plan *inventory.Plan, ev *inventory.Evidence) []Line {
	var out []Line
	for i := range plan.Devices {
		d := &plan.Devices[i]
		if d.Access == "" {
			continue
		}
		k := slices.IndexFunc(ev.Agents, func(a inventory.Agent) bool { return a.Device == d.Name })
		if k < 0 {
			out = append(out, silent(d, ev.Coverage))
			continue
		}
		out = append(out, answered(plan, d, &ev.Agents[k]))
	}
	if len(out) == 0 {
		out = append(out, Line{"agents", "site", Warn, "the plan names no SNMP agent", "name an access at your switches, so that places and power can be read"})
	}
	return append(merge(out), weak(ev)...)
}

func silent(d *inventory.Device, looks inventory.CoverageList) Line {
	l := Line{"agents", d.Name, Fail, "not asked", "see whether the plan gives it an address and an access"}
	for _, c := range looks {
		if c.Subject != d.Name || c.Table != "" || c.Source != inventory.SourceSNMP {
			continue
		}
		l.Found = resultWords[c.Result]
		if c.Why != "" {
			l.Found += ": " + c.Why
		}
		switch c.Result {
		case inventory.NoAnswer:
			l.Do = "see that it is on, that its SNMP is switched on, and that it lets this machine ask; a wrong community looks the same"
		case inventory.Refused:
			l.Do = "correct the access in the plan, its secret, or the account on the device"
		case inventory.Skipped:
			l.State = Warn
		}
	}
	return l
}

// slowAgent: a read that takes longer weighs on runs every quarter of an hour.
const slowAgent = 30 * time.Second

// clockSkew is how far an agent's clock may be off before recordings and logs mislead.
const clockSkew = 2 * time.Minute

func answered(plan *inventory.Plan, d *inventory.Device, a *inventory.Agent) Line {
	l := Line{Part: "agents", Subject: d.Name, State: Pass}
	who := a.Version
	if x, ok := plan.AccessNamed(d.Access); ok && x.User != "" {
		who += " as " + x.User
	}
	var has, half []string
	for _, t := range offered {
		switch a.Tables[t.table] {
		case inventory.Complete:
			has = append(has, t.word)
		case inventory.Partial, inventory.NoAnswer, inventory.Refused:
			half = append(half, t.word)
		}
	}
	l.Found = fmt.Sprintf("%s; offers %s; read in %s, %d requests", who, cmp.Or(strings.Join(has, ", "), "nothing that is used"),
		span(a.Stats.Took), a.Stats.Requests)
	complain := func(do string) {
		l.State, l.Do = Warn, strings.TrimPrefix(l.Do+"; "+do, "; ")
	}
	if len(half) > 0 {
		l.Found += "; not whole: " + strings.Join(half, ", ")
		complain("ask again; if it stays, the view of its account may leave something out")
	}
	if a.Date != nil && a.Date.Zone {
		off := a.Date.Time.Sub(a.Date.Read).Round(time.Second)
		l.Found += "; clock " + offWords(off)
		if off.Abs() > clockSkew {
			complain("set its time server")
		}
	}
	if a.Stats.Took > slowAgent {
		complain("it is slow: give it fewer runs, or see what else asks it")
	}
	if a.Stats.Mismatched > 0 {
		l.Found += fmt.Sprintf("; %d values answered another question and were dropped", a.Stats.Mismatched)
		complain("look for newer firmware")
	}
	return l
}

// weak is one line for all agents that are asked in a way that others can read.
func weak(ev *inventory.Evidence) []Line {
	var who []string
	for _, a := range ev.Agents {
		if len(a.Weak) > 0 {
			who = append(who, a.Device)
		}
	}
	if len(who) == 0 {
		return nil
	}
	return []Line{{"agents", fmt.Sprintf("%d of %d agents", len(who), len(ev.Agents)), Pass,
		"weak SNMP, which others on the way can read or guess: " + strings.Join(who, ", "), "use v3 with sha256 and aes where the device has it"}}
}

// offered are the tables that people know by a plain word, in this order.
var offered = []struct{ table, word string }{
	{inventory.TableInterfaces, "ports"}, {inventory.TableFDB, "MAC table"}, {inventory.TableLLDP, "LLDP"}, {inventory.TableVLAN, "VLANs"},
	{inventory.TablePSE, "power"}, {inventory.TableEnergy, "power of each port"}, {inventory.TableSensor, "sensors"}, {inventory.TableNeighbors, "neighbour table"},
	{inventory.TableHost, "disks and clock"}, {inventory.TableUPS, "UPS"}, {inventory.TablePrinter, "printer"}, {inventory.TableObjects, "objects of the plan"},
}

// Presence lists the planned devices that offer no SNMP, so that only their
// presence is seen, and those that nothing can see.
func Presence(plan *inventory.Plan) []Line {
	var only, never []string
	for i := range plan.Devices {
		switch d := &plan.Devices[i]; {
		case d.Access != "":
		case d.Role.IsPassive():
			never = append(never, d.Name)
		default:
			only = append(only, d.Name)
		}
	}
	var out []Line
	if len(only) > 0 {
		out = append(out, Line{"presence", fmt.Sprintf("%d devices", len(only)), Pass,
			"seen as presence only, since the plan gives them no access: " + strings.Join(only, ", "), "where one of them has SNMP, give it an access"})
	}
	if len(never) > 0 {
		out = append(out, Line{"presence", fmt.Sprintf("%d devices", len(never)), Pass,
			"judged only by what hangs behind them: " + strings.Join(never, ", "), "nothing: they have no address to be seen by"})
	}
	return out
}

// Networks judges whether each network can be looked into from here.
func Networks(plan *inventory.Plan, at []inventory.Attached, raw bool) []Line {
	var out []Line
	for _, n := range plan.Networks {
		l := Line{Part: "interfaces", Subject: n.Name, State: Pass}
		var on []string
		down := false
		for _, a := range at {
			if a.Network == n.Name {
				on = append(on, fmt.Sprintf("%s (%s)", a.Interface, a.Addr))
				down = down || !a.Up
			}
		}
		switch {
		case n.Unknown == inventory.UnknownCount:
			l.Found = "only counted, by the plan"
		case n.Subnet.Addr().IsLoopback():
			l.Found = "on this machine; nothing answers ARP there"
		case len(on) > 0 && down:
			l.State, l.Found, l.Do = Fail, "attached by "+strings.Join(on, ", ")+", which is down", "bring the interface up"
		case len(on) > 0 && raw:
			l.Found = "attached by " + strings.Join(on, ", ") + ": swept by ARP"
		case len(on) > 0:
			l.State, l.Found, l.Do = Warn, "attached by "+strings.Join(on, ", ")+", without the right to sweep", "see rights"
		case routerOf(plan, n):
			l.Found, l.Do = "not attached; its router's neighbour table stands in", "for what the router never talks to, attach this machine to it"
		default:
			l.State, l.Found, l.Do = Warn, "neither attached nor known to a router that may be asked", "attach this machine to it, or give its router an access"
		}
		out = append(out, l)
	}
	return out
}

func routerOf(plan *inventory.Plan, n inventory.Network) bool {
	return slices.ContainsFunc(plan.Devices, func(d inventory.Device) bool {
		return d.Access != "" && d.Role == inventory.Router
	}) && n.Gateway != netip.Addr{}
}

// Worst is the worst state among the lines.
func Worst(lines []Line) State {
	order := []State{Fail, Warn, Unknown, Pass}
	worst := Pass
	for _, l := range lines {
		if slices.Index(order, l.State) < slices.Index(order, worst) {
			worst = l.State
		}
	}
	return worst
}
