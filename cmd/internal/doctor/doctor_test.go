package doctor_test

import (
	"fmt"
	"math/rand/v2"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/doctor"
	"boundwalk/inventory"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func TestAgents(t *testing.T) {
	plan := &inventory.Plan{Access: []inventory.Access{{Name: "core", Version: "v3", User: "audit"}},
		Devices: []inventory.Device{{Name: "quay-switch", Access: "core"}, {Name: "gate-cam"}}}
	full := inventory.Agent{Device: "quay-switch", Version: "v3",
		Tables: map[string]inventory.Result{inventory.TableInterfaces: inventory.Complete, inventory.TableFDB: inventory.Complete}}
	change := func(f func(*inventory.Agent)) *inventory.Evidence {
		a := full
		f(&a)
		return &inventory.Evidence{Agents: []inventory.Agent{a}}
	}
	look := func(r inventory.Result) *inventory.Evidence {
		return &inventory.Evidence{Coverage: inventory.CoverageList{{Subject: "quay-switch", Source: inventory.SourceSNMP, Result: r, Why: "words"}}}
	}
	for name, c := range map[string]struct {
		ev    *inventory.Evidence
		state doctor.State
		found string
		do    bool
	}{
		"all is well": {change(func(*inventory.Agent) {}), doctor.Pass, "v3 as audit; offers ports, MAC table", false},
		"half a table": {change(func(a *inventory.Agent) {
			a.Tables = map[string]inventory.Result{inventory.TablePSE: inventory.Partial}
		}), doctor.Warn, "not whole: power", true},
		"a clock 3 min slow": {change(func(a *inventory.Agent) {
			a.Date = &inventory.AgentDate{Time: noon.Add(-3 * time.Minute), Zone: true, Read: noon}
		}), doctor.Warn, "clock 3 min slow", true},
		"a clock without zone says nothing": {change(func(a *inventory.Agent) {
			a.Date = &inventory.AgentDate{Time: noon.Add(-3 * time.Hour), Read: noon}
		}), doctor.Pass, "offers ports", false},
		"slow":          {change(func(a *inventory.Agent) { a.Stats.Took = time.Minute }), doctor.Warn, "read in 60 s", true},
		"lying":         {change(func(a *inventory.Agent) { a.Stats.Mismatched = 4 }), doctor.Warn, "4 values", true},
		"silent":        {look(inventory.NoAnswer), doctor.Fail, "no answer: words", true},
		"refusing":      {look(inventory.Refused), doctor.Fail, "refused: words", true},
		"left alone":    {look(inventory.Skipped), doctor.Warn, "not asked: words", true},
		"never reached": {&inventory.Evidence{}, doctor.Fail, "not asked", true},
	} {
		lines := doctor.Agents(plan, c.ev)
		if len(lines) != 1 {
			t.Errorf("%s: %d lines, want 1: presence is told elsewhere", name, len(lines))
			continue
		}
		if l := lines[0]; l.State != c.state || !strings.Contains(l.Found, c.found) || (l.Do != "") != c.do {
			t.Errorf("%s: got %+v, want %s with %q", name, l, c.state, c.found)
		}
	}
}

// A secret that cannot be read keeps several agents silent: one cause, one line.
func TestAgentsTogether(t *testing.T) {
	plan := &inventory.Plan{}
	ev := &inventory.Evidence{}
	for name, why := range map[string]string{"a": "no secret", "b": "no secret", "c": "no such user"} {
		plan.Devices = append(plan.Devices, inventory.Device{Name: name, Access: "core"})
		ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: name, Source: inventory.SourceSNMP, Result: inventory.Refused, Why: why})
	}
	slices.SortFunc(plan.Devices, func(a, b inventory.Device) int { return strings.Compare(a.Name, b.Name) })
	got := doctor.Agents(plan, ev)
	if len(got) != 2 || got[0].Subject != "2 agents" || got[0].Found != "refused: no secret: a, b" || got[1].Subject != "c" {
		t.Errorf("%+v", got)
	}
}

// Whatever is found, a line that complains says what to do.
func TestEveryComplaintSaysWhatToDo(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	results := []inventory.Result{inventory.Complete, inventory.Partial, inventory.Refused, inventory.NoAnswer, inventory.NotOffered, inventory.Skipped}
	complaints := 0
	for range 500 {
		plan := &inventory.Plan{Networks: []inventory.Network{{Name: "yard", Subnet: netip.MustParsePrefix("203.0.113.0/25"), Unknown: inventory.UnknownWarning}}}
		ev := &inventory.Evidence{}
		for i := range rng.IntN(5) {
			d := inventory.Device{Name: fmt.Sprintf("d%d", i), Role: inventory.Roles[rng.IntN(len(inventory.Roles))]}
			if rng.IntN(4) > 0 {
				d.Access = "core"
			}
			plan.Devices = append(plan.Devices, d)
			if rng.IntN(2) == 0 {
				a := inventory.Agent{Device: d.Name, Tables: map[string]inventory.Result{inventory.TableFDB: results[rng.IntN(len(results))],
					inventory.TablePSE: results[rng.IntN(len(results))]}}
				a.Stats.Took, a.Stats.Mismatched = time.Duration(rng.Int64N(int64(time.Minute))), rng.IntN(2)
				a.Date = &inventory.AgentDate{Time: noon.Add(time.Duration(rng.Int64N(int64(time.Hour)))), Read: noon, Zone: rng.IntN(2) == 0}
				ev.Agents = append(ev.Agents, a)
			} else if rng.IntN(4) > 0 {
				ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: d.Name, Source: inventory.SourceSNMP,
					Result: results[rng.IntN(len(results))], Why: "words"})
			}
		}
		lines := slices.Concat(doctor.Agents(plan, ev), doctor.Presence(plan),
			doctor.Networks(plan, []inventory.Attached{{Network: "yard", Up: rng.IntN(2) == 0}}[rng.IntN(2):], rng.IntN(2) == 0))
		for _, l := range lines {
			if l.Subject == "" || l.Found == "" {
				t.Errorf("a line of nothing: %+v", l)
			}
			if l.State != doctor.Pass {
				complaints++
				if l.Do == "" {
					t.Errorf("what to do is not said: %+v", l)
				}
			}
		}
	}
	if complaints < 500 {
		t.Errorf("only %d complaints", complaints)
	}
}

func TestNetworks(t *testing.T) {
	lan := netip.MustParsePrefix("203.0.113.0/25")
	plan := &inventory.Plan{Networks: []inventory.Network{{Name: "yard", Subnet: lan, Gateway: netip.MustParseAddr("203.0.113.1")}}}
	at := []inventory.Attached{{Network: "yard", Interface: "eth0", Up: true}}
	down := []inventory.Attached{{Network: "yard", Interface: "eth0"}}
	routed := &inventory.Plan{Networks: plan.Networks, Devices: []inventory.Device{{Name: "quay-router", Role: inventory.Router, Access: "core"}}}
	for name, c := range map[string]struct {
		plan *inventory.Plan
		at   []inventory.Attached
		raw  bool
		want doctor.State
	}{
		"swept":                    {plan, at, true, doctor.Pass},
		"no raw socket":            {plan, at, false, doctor.Warn},
		"interface down":           {plan, down, true, doctor.Fail},
		"far, with a router":       {routed, nil, true, doctor.Pass},
		"far, and nobody to ask":   {plan, nil, true, doctor.Warn},
		"far, without raw sockets": {routed, nil, false, doctor.Pass},
	} {
		if l := doctor.Networks(c.plan, c.at, c.raw); len(l) != 1 || l[0].State != c.want {
			t.Errorf("%s: %+v, want %s", name, l, c.want)
		}
	}
}

// A clock that stands before the last run is wrong whoever keeps it.
func TestClockBeforeLastRun(t *testing.T) {
	if l := doctor.Clock(noon, noon.Add(time.Hour)); l.State != doctor.Fail || l.Do == "" {
		t.Errorf("%+v", l)
	}
	if l := doctor.Clock(noon, noon.Add(-time.Hour)); l.State == doctor.Fail {
		t.Errorf("%+v", l)
	}
}

func TestPort(t *testing.T) {
	if l := doctor.Port("metrics", "127.0.0.1:0", false); l.State != doctor.Pass {
		t.Errorf("a free port: %+v", l)
	}
	if l := doctor.Port("metrics", "127.0.0.1:99999", false); l.State != doctor.Fail || l.Do == "" {
		t.Errorf("no port: %+v", l)
	}
}

func TestWorst(t *testing.T) {
	if w := doctor.Worst([]doctor.Line{{State: doctor.Pass}, {State: doctor.Unknown}, {State: doctor.Warn}}); w != doctor.Warn {
		t.Errorf("got %s", w)
	}
	if w := doctor.Worst(nil); w != doctor.Pass {
		t.Errorf("of none: %s", w)
	}
}
