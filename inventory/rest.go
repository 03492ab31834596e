package inventory

import (
	"fmt"
	"maps"
	"net/netip"
	"slices"
	"strings"
	"time"
)

// rest states what hangs on single devices: agents, radios, UPSes, disks,
// clocks, networks.
func (a *assembler) rest() {
	for _, v := range a.views {
		a.agentState(v)
		if v.UPS != nil {
			a.snap.UPSes = append(a.snap.UPSes, UPSState{Device: v.name, Reading: *v.UPS})
		}
		for _, s := range v.Storage {
			if s.Fixed {
				a.snap.Disks = append(a.snap.Disks, DiskState{Device: v.name, Name: Clean(s.Descr), Size: s.Size, Used: s.Used})
			}
		}
		if v.Date != nil && v.Date.Zone {
			a.snap.Clocks = append(a.snap.Clocks, ClockState{Device: v.name, Source: "hrSystemDate", Offset: v.Date.Time.Sub(v.Date.Read), Sure: time.Second})
		}
	}
	a.silentAgents()
	a.radios()
	for _, c := range a.ev.Clocks {
		name := c.Device
		if i, ok := a.byAddr[c.Addr]; ok && name == "" {
			name = a.devs[i].Name
		}
		if name != "" {
			a.snap.Clocks = append(a.snap.Clocks, ClockState{Device: name, Source: c.Source, Offset: c.Offset, Sure: c.Sure})
		}
	}
	for _, r := range a.ev.Reach {
		if i, ok := a.byAddr[r.Addr]; ok && r.Port != 0 && r.Result == Complete {
			a.snap.Doors = append(a.snap.Doors, DoorState{Device: a.devs[i].Name, Port: r.Port, Kind: r.Banner})
		}
	}
	a.networks()
	for i := range a.snap.Proxies {
		if k, ok := a.owner[a.snap.Proxies[i].MAC]; ok {
			a.snap.Proxies[i].Device = a.devs[k].Name
		}
	}
}

func (a *assembler) agentState(v *agentView) {
	st := AgentState{Device: v.name, Result: Complete, Version: v.Version, Weak: v.Weak, Descr: CleanTo(v.System.Descr, 100), ObjectID: v.System.ObjectID,
		Alias: v.Alias, Tables: maps.Clone(v.Tables), Ports: map[string]int{}, Took: v.Stats.Took, Reduced: v.Stats.Repetitions}
	for i, n := range v.names {
		st.Ports[n] = int(i)
	}
	for _, r := range v.Tables {
		if r == Partial || r == NoAnswer {
			st.Result = Partial
		}
	}
	ways := map[string]int{}
	for _, m := range mapPSE(v) {
		ways[m.By+" ("+m.Sure+")"]++
	}
	var words []string
	for _, w := range slices.Sorted(maps.Keys(ways)) {
		words = append(words, fmt.Sprintf("%d by %s", ways[w], w))
	}
	if n := a.unmapped[v.name]; n > 0 {
		words = append(words, fmt.Sprintf("%d without a port", n))
	}
	st.Mappings = strings.Join(words, ", ")
	a.snap.Agents = append(a.snap.Agents, st)
}

// silentAgents adds the planned agents that told nothing, with how that ended.
func (a *assembler) silentAgents() {
	for _, d := range a.plan.Devices {
		if d.Access == "" || slices.ContainsFunc(a.views, func(v *agentView) bool { return v.name == d.Name }) {
			continue
		}
		if r, did := a.ev.Coverage.Result(d.Name, "", SourceSNMP); did {
			a.snap.Agents = append(a.snap.Agents, AgentState{Device: d.Name, Result: r})
		}
	}
}

func (a *assembler) radios() {
	echo := map[netip.Addr]Reach{}
	for _, r := range a.ev.Reach {
		if r.Port == 0 {
			echo[r.Addr] = r
		}
	}
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		if d.Role != Radio {
			continue
		}
		st := RadioState{Device: d.Name, Why: "its agent offers nothing about the air"}
		for _, l := range a.plan.Links {
			if l.Between[0] == d.Name || l.Between[1] == d.Name {
				st.Link = l.Name
			}
		}
		if d.Access == "" {
			st.Why = "it has no agent in the plan"
		}
		for _, v := range a.views {
			if v.name == d.Name {
				radioReading(v, &st)
			}
		}
		if r, ok := echo[d.Address()]; ok && r.Sent > 0 {
			loss, delay := 1-float64(r.Got)/float64(r.Sent), float64(r.Median)/float64(time.Millisecond)
			st.Loss = &loss
			if r.Got > 0 {
				st.Delay = &delay
			}
		}
		a.snap.Radios = append(a.snap.Radios, st)
	}
}

// radioReading takes level and rate from the objects that the plan names. A
// level of zero or above cannot be (field case FC-25).
func radioReading(v *agentView, st *RadioState) {
	for _, o := range v.Objects {
		switch {
		case o.Value == nil:
			if o.Use == "level" || o.Use == "rate" {
				st.Why = o.Why
			}
		case o.Use == "level" && *o.Value < 0 && *o.Value > -120:
			x := *o.Value
			st.Level, st.Why = &x, ""
		case o.Use == "level":
			st.Why = fmt.Sprintf("a level of %g dBm cannot be", *o.Value)
		case o.Use == "rate" && *o.Value > 0 && *o.Value < 1e12:
			r := BitRate(*o.Value)
			st.Rate = &r
		}
	}
}

func (a *assembler) networks() {
	for _, n := range a.plan.Networks {
		st := NetworkState{Name: n.Name, Counted: len(a.counted[n.Name])}
		for _, how := range []string{SourceARP, SourceNeighbors} {
			if r, did := a.ev.Coverage.Result(n.Name, "", how); did {
				st.Looked, st.How = r, how
				break
			}
		}
		for _, d := range a.devs {
			if d.Private && d.BehindAP && d.Network == n.Name {
				st.Private++
			}
		}
		a.snap.Networks = append(a.snap.Networks, st)
	}
}
