package discover_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"testing"
	"time"

	"boundwalk/discover"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/inventory"
)

// A loopback plan: the agents stand in for devices, and nothing is attached.
func loopback(devices ...inventory.Device) *inventory.Plan {
	return &inventory.Plan{Site: inventory.Site{Name: "Tern Quay", Location: time.UTC},
		Networks: []inventory.Network{{Name: "yard", Subnet: netip.MustParsePrefix("203.0.113.0/24"), Gateway: netip.MustParseAddr("203.0.113.1"),
			Unknown: inventory.UnknownWarning}},
		Access:  []inventory.Access{{Name: "yard", Version: "v2c", Port: 161, Community: "file:yard.community"}},
		Devices: devices}
}

func secrets(ref inventory.SecretRef) (string, error) {
	if ref != "file:yard.community" {
		return "", fmt.Errorf("%s: no such secret", ref)
	}
	return "quay", nil
}

func agent(t *testing.T, a inventory.Agent, f simnet.Faults) netip.AddrPort {
	t.Helper()
	ag, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"quay"}, Engine: "\x80\x00\x7e\xd9\x04" + a.System.Name, Rows: mibrows.Agent(a)})
	if err != nil {
		t.Fatal(err)
	}
	if err := ag.SetFaults(f); err != nil {
		t.Fatal(err)
	}
	return simnettest.Start(t, ag)
}

func small(name string) inventory.Agent {
	up := uint32(4242)
	return inventory.Agent{System: inventory.System{Name: name, Descr: "test", UpTime: &up},
		Interfaces: []inventory.Interface{{Index: 1, Name: "gi1", Type: 6}, {Index: 2, Name: "gi2", Type: 6}}}
}

func silent(t *testing.T) netip.AddrPort {
	t.Helper()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c.LocalAddr().(*net.UDPAddr).AddrPort()
}

// FC-09: twelve silent agents cost the three good ones nothing, and a cancelled
// survey is aborted.
func TestFC09SilentAgents(t *testing.T) {
	var devices []inventory.Device
	for k := range 12 {
		devices = append(devices, inventory.Device{Name: fmt.Sprintf("silent-%d", k), Role: inventory.Switch, Access: "yard", Agent: silent(t)})
	}
	for k := range 3 {
		name := fmt.Sprintf("good-%d", k)
		devices = append(devices, inventory.Device{Name: name, Role: inventory.Switch, Access: "yard", Agent: agent(t, small(name), simnet.Faults{})})
	}
	plan := loopback(devices...)
	ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets})
	if ev.Aborted || len(ev.Agents) != 3 {
		t.Fatalf("aborted %v, %d agents; want the three good ones", ev.Aborted, len(ev.Agents))
	}
	for _, d := range devices {
		r, ok := ev.Coverage.Result(d.Name, "", inventory.SourceSNMP)
		want := inventory.Complete
		if d.Name[:4] == "sile" {
			want = inventory.NoAnswer
		}
		if !ok || r != want {
			t.Errorf("%s: got %s, want %s", d.Name, r, want)
		}
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(errors.New("stop"))
	if ev := discover.Survey(ctx, plan, discover.Options{Secrets: secrets}); !ev.Aborted {
		t.Error("a survey that was stopped must say so")
	}
}

// FC-05: an agent that goes on for ever is cut off, said so, and the rest of
// the run is whole.
func TestFC05EndlessAgent(t *testing.T) {
	plan := loopback(
		inventory.Device{Name: "endless", Role: inventory.Switch, Access: "yard",
			Agent: agent(t, small("endless"), simnet.Faults{Endless: &simnet.Endless{Under: "1.3.6.1.2.1.17.4.3.1.2"}})},
		inventory.Device{Name: "good", Role: inventory.Switch, Access: "yard", Agent: agent(t, small("good"), simnet.Faults{})})
	ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets})
	if len(ev.Agents) != 2 {
		t.Fatalf("got %d agents", len(ev.Agents))
	}
	i := slices.IndexFunc(ev.Agents, func(a inventory.Agent) bool { return a.Device == "endless" })
	if got := ev.Agents[i].Tables[inventory.TableFDB]; got != inventory.Partial {
		t.Errorf("the endless table is %s, want partial", got)
	}
	if got := ev.Agents[1-i].Tables[inventory.TableInterfaces]; got != inventory.Complete {
		t.Errorf("the other agent's table is %s", got)
	}
	// Nothing is missed because of it.
	plan.Devices = append(plan.Devices, inventory.Device{Name: "cam", Role: inventory.Camera, MACs: []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 9}},
		At: inventory.PortRef{Device: "endless", Port: "1"}})
	s := inventory.Assemble(plan, ev, nil, nil)
	if d, _ := s.Device("cam"); d.Presence != inventory.NotLooked {
		t.Errorf("the camera behind the endless table is %s, want not looked at", d.Presence)
	}
}

// A planned address that lies in no planned network, by a slip of the pen, gets
// neither a request nor a beat: its community would cross the internet. Where the
// plan names the agent by itself, it means it.
func TestAgentOutside(t *testing.T) {
	plan := loopback(inventory.Device{Name: "slip", Role: inventory.Switch, Access: "yard", Addresses: []netip.Addr{netip.MustParseAddr("198.51.100.2")}},
		inventory.Device{Name: "core", Role: inventory.Switch, Access: "yard", Agent: agent(t, small("core"), simnet.Faults{})})
	for _, alone := range []bool{false, true} {
		ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets, AgentsOnly: alone})
		if r, _ := ev.Coverage.Result("slip", "", inventory.SourceSNMP); r != inventory.Skipped {
			t.Errorf("agents only %t: the one outside is %s", alone, r)
		}
		if r, _ := ev.Coverage.Result("core", "", inventory.SourceSNMP); r != inventory.Complete {
			t.Errorf("agents only %t: the named one is %s", alone, r)
		}
		if _, looked := ev.Coverage.Result("yard", "", inventory.SourceNeighbors); looked == alone {
			t.Errorf("agents only %t: the network was looked at: %t", alone, looked)
		}
	}
	b := discover.Pulse(t.Context(), plan, discover.Options{Secrets: secrets})
	if _, asked := b.Up["slip"]; asked || !b.Up["core"] {
		t.Errorf("the pulse asked %v, want core alone", b.Up)
	}
}

// What the plan leaves alone gets no SNMP; a secret that is missing is said, and
// never a value.
func TestAgentsNotAsked(t *testing.T) {
	a := agent(t, small("lift"), simnet.Faults{})
	plan := loopback(inventory.Device{Name: "lift", Role: inventory.Controller, Access: "yard", Agent: a},
		inventory.Device{Name: "core", Role: inventory.Switch, Access: "core", Agent: a})
	plan.LeaveAlone = []netip.Addr{a.Addr()}
	plan.Access = append(plan.Access, inventory.Access{Name: "core", Version: "v2c", Community: "file:other"})
	ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets})
	if r, _ := ev.Coverage.Result("lift", "", inventory.SourceSNMP); r != inventory.Skipped || len(ev.Agents) != 0 {
		t.Errorf("the lift: %s, %d agents", r, len(ev.Agents))
	}
	plan.LeaveAlone = nil
	ev = discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets})
	if r, _ := ev.Coverage.Result("core", "", inventory.SourceSNMP); r != inventory.Refused {
		t.Errorf("without its secret: %s", r)
	}
}

// A switch that keeps a table for each VLAN is asked for those of the plan where its access
// says so; a UPS that shares the access is not, and both are looked at whole.
func TestContextsOfThePlan(t *testing.T) {
	cam := inventory.MAC{0, 0, 0x5e, 0, 0x53, 0x31}
	bridge := func(fdb ...inventory.FDBEntry) inventory.Agent {
		a := small("core")
		a.Bridge, a.FDB = map[inventory.BridgePort]inventory.IfIndex{1: 1, 2: 2}, fdb
		return a
	}
	serve := func(a inventory.Agent, contexts ...simnet.Context) (*simnet.Agent, netip.AddrPort) {
		ag, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"quay"}, Rows: mibrows.Agent(a), Contexts: contexts})
		if err != nil {
			t.Fatal(err)
		}
		return ag, simnettest.Start(t, ag)
	}
	_, core := serve(bridge(), simnet.Context{Index: "20", Rows: mibrows.Agent(bridge(inventory.FDBEntry{MAC: cam, Port: 2}))})
	ups, upsAt := serve(bridge(inventory.FDBEntry{MAC: cam, Port: 1}))
	plan := loopback(inventory.Device{Name: "core", Role: inventory.Switch, Access: "yard", Agent: core},
		inventory.Device{Name: "rack-ups", Role: inventory.UPS, Access: "yard", Agent: upsAt})
	plan.Networks[0].VLAN, plan.Access[0].Contexts = 20, inventory.ContextsPerVLAN
	ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets})
	i := slices.IndexFunc(ev.Agents, func(a inventory.Agent) bool { return a.Device == "core" })
	if got := ev.Agents[i].FDB; !slices.Equal(got, []inventory.FDBEntry{{MAC: cam, Port: 2, VLAN: 20}}) {
		t.Errorf("the switch's table: %+v", got)
	}
	if n := ups.Counts().Communities; len(n) != 1 {
		t.Errorf("the UPS was asked under %d communities", len(n))
	}
	for _, name := range []string{"core", "rack-ups"} {
		if r, _ := ev.Coverage.Result(name, inventory.TableFDB, inventory.SourceSNMP); r != inventory.Complete {
			t.Errorf("%s: its table is %s", name, r)
		}
	}
}
