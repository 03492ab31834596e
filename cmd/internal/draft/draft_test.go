package draft_test

import (
	"fmt"
	"math/rand/v2"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/draft"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/inventory/poe"
)

var (
	noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	lan  = netip.MustParsePrefix("203.0.113.0/25")
	yard = inventory.Network{Name: "yard", Subnet: lan, Unknown: inventory.UnknownWarning}
)

func mac(n int) inventory.MAC { return inventory.MAC{0, 0, 0x5e, 0, 0x53, byte(n)} }

func addr(n int) netip.Addr {
	return netip.AddrFrom4([4]byte{203, 0, 113, byte(n)})
}

// words are what devices call things, odd ones among them.
var words = []string{"gi1", "Gi1", "gi2", "gi0", "port 3", "0", "07", "1", "2", "3", "a/b", "x: y", "# no", "{}", "\"", "'", "\x00\x1b[31m", "\u2028",
	"Ünî", "null", "yes", "012", "-", "~", strings.Repeat("z", 300), ""}

func pick(r *rand.Rand) string { return words[r.IntN(len(words))] }

// randomAgent tells whatever an agent might, true or not.
func randomAgent(r *rand.Rand, i int) inventory.Agent {
	a := inventory.Agent{Target: netip.AddrPortFrom(netip.MustParseAddr("127.0.0.1"), uint16(1000+i)), Read: noon, Version: "v2c", BridgeMAC: mac(r.IntN(20)),
		Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete, inventory.TableInterfaces: inventory.Complete},
		Bridge: map[inventory.BridgePort]inventory.IfIndex{}, PVID: map[inventory.BridgePort]int{},
		System: inventory.System{Name: pick(r), Descr: pick(r), Services: r.IntN(80)}}
	for k := 1; k <= 2+r.IntN(5); k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: pick(r), Type: 6, MAC: mac(r.IntN(20)),
			OperUp: new(true), Speed: 1e9})
		a.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(k)
		a.PVID[inventory.BridgePort(k)] = r.IntN(4200) - 20
		a.Addresses = append(a.Addresses, inventory.AgentAddress{Addr: addr(r.IntN(256)), Prefix: 20 + r.IntN(12), Index: inventory.IfIndex(k)})
		if r.IntN(2) == 0 {
			draw := inventory.Power(r.IntN(90000) - 100)
			a.PSEPorts = append(a.PSEPorts, inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: k}, State: inventory.PSEDelivering,
				Class: inventory.Class(r.IntN(10)), Actual: &draw})
		}
	}
	for range r.IntN(20) {
		a.FDB = append(a.FDB, inventory.FDBEntry{MAC: mac(r.IntN(40)), Port: inventory.BridgePort(r.IntN(7)), VLAN: r.IntN(40), Self: r.IntN(9) == 0})
	}
	for range r.IntN(4) {
		a.Neighbors = append(a.Neighbors, inventory.LLDPNeighbor{Local: inventory.LLDPPort(r.IntN(7)), ChassisMAC: mac(r.IntN(40)), SysName: pick(r),
			PortID: pick(r), Capabilities: []string{"bridge"}, Addresses: []netip.Addr{addr(r.IntN(256))}})
	}
	if r.IntN(2) == 0 {
		budget := inventory.Power(r.IntN(200000) - 1000)
		a.Supplies = []inventory.PSESupply{{Group: 1, Budget: &budget}}
	}
	a.Entities = []inventory.Entity{{Index: 1, Class: 3, Maker: pick(r), Model: pick(r), Serial: pick(r), Firmware: pick(r)}}
	return a
}

// Whatever agents tell, and however it contradicts itself, the draft is a plan
// that reads back.
func TestMakeOfAnything(t *testing.T) {
	for seed := range 500 {
		r := rand.New(rand.NewPCG(uint64(seed), 7))
		o := draft.Options{Networks: []inventory.Network{yard}, Access: []inventory.Access{{Name: "a", Version: "v2c", Port: 161, Community: "file:x"}}}
		ev := &inventory.Evidence{Started: noon, Finished: noon}
		for i := range 1 + r.IntN(5) {
			o.Agents = append(o.Agents, draft.Agent{Target: netip.AddrPortFrom(netip.MustParseAddr("127.0.0.1"), uint16(1000+i)), Access: "a"})
			if r.IntN(6) > 0 {
				a := randomAgent(r, i)
				a.Device = draft.Scaffold(o).Devices[i].Name
				ev.Agents = append(ev.Agents, a)
			}
		}
		for range r.IntN(30) {
			ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: mac(r.IntN(40)), Addr: addr(r.IntN(256)), Name: pick(r),
				Source: inventory.SourceARP, Live: true, Seen: noon})
		}
		d := draft.Make(draft.Scaffold(o), ev, draft.Past{}, nil)
		if _, err := planfile.Render(d.Plan, d.Remarks...); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
	}
}

// Names and draws come from the logbook, by the MAC address.
func TestPast(t *testing.T) {
	past := draft.Past{Last: &inventory.Snapshot{Devices: []inventory.SeenDevice{{Name: "slip-cam", Planned: true, Role: inventory.Camera,
		MACs: []inventory.MAC{mac(0x31)}, Place: inventory.Place{Switch: "quay-switch", Port: "5", Basis: inventory.ByFDB}}}},
		Draws: func(ref inventory.PortRef) []inventory.Power {
			if ref.String() != "quay-switch/5" {
				t.Errorf("asked for %s", ref)
			}
			return []inventory.Power{5200, 11000, 5000}
		}}
	o := draft.Options{Networks: []inventory.Network{yard}}
	ev := &inventory.Evidence{Finished: noon, Sightings: []inventory.Sighting{{MAC: mac(0x31), Addr: addr(31), Source: inventory.SourceARP, Live: true}}}
	d := draft.Make(draft.Scaffold(o), ev, past, nil)
	if len(d.Plan.Devices) != 1 {
		t.Fatalf("%+v", d.Plan.Devices)
	}
	if got := d.Plan.Devices[0]; got.Name != "slip-cam" || got.Role != inventory.Camera || got.Draws != (inventory.Draws{Usual: 5200, Most: 11000}) {
		t.Errorf("%s %+v, want the camera slip-cam with 5.2 W and 11 W", got.Name, got.Draws)
	}
	if !slices.ContainsFunc(d.Remarks, func(r planfile.Remark) bool {
		return r.Key == "draws" && strings.Contains(r.Text, "3 samples")
	}) {
		t.Errorf("no remark on the draws: %+v", d.Remarks)
	}
}

// powered is a switch with a budget of 40 W that feeds four devices of class 3,
// of which each draws so much at its port.
func powered(draw inventory.Power) (draft.Options, *inventory.Evidence) {
	o := draft.Options{Networks: []inventory.Network{yard}, Access: []inventory.Access{{Name: "a", Version: "v2c", Port: 161, Community: "file:x"}},
		Agents: []draft.Agent{{Target: netip.MustParseAddrPort("203.0.113.2:161"), Access: "a"}}}
	budget := 40 * poe.Watt
	a := inventory.Agent{Device: draft.Scaffold(o).Devices[0].Name, Target: netip.MustParseAddrPort("203.0.113.2:161"), Read: noon, Version: "v2c",
		BridgeMAC: mac(2), System: inventory.System{Name: "quay-switch"},
		Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete, inventory.TableInterfaces: inventory.Complete,
			inventory.TablePSE: inventory.Complete, inventory.TableEnergy: inventory.Complete},
		Bridge: map[inventory.BridgePort]inventory.IfIndex{}, Supplies: []inventory.PSESupply{{Group: 1, Budget: &budget}}}
	for k := 1; k <= 4; k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: fmt.Sprintf("gi%d", k), Type: 6, OperUp: new(true), Speed: 1e9})
		a.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(k)
		a.PSEPorts = append(a.PSEPorts, inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: k}, State: inventory.PSEDelivering,
			Class: poe.Class3, Actual: &draw})
		a.FDB = append(a.FDB, inventory.FDBEntry{MAC: mac(0x30 + k), Port: inventory.BridgePort(k), VLAN: 1})
	}
	ev := &inventory.Evidence{Started: noon, Finished: noon, Agents: []inventory.Agent{a}}
	for k := 1; k <= 4; k++ {
		ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: mac(0x30 + k), Addr: addr(0x30 + k), Source: inventory.SourceARP, Live: true, Seen: noon})
	}
	return o, ev
}

// Four ports of class 3 are 61.6 W by class, more than the 40 W that there are:
// so the switch does not reserve by class. A draw at the port is the device's and
// the cable's, and a device of class 3 takes 12.95 W at most (IEEE 802.3, 33.3.7).
func TestPower(t *testing.T) {
	for _, c := range []struct{ port, device inventory.Power }{{9123, 9200}, {14_200, 12_950}} {
		o, ev := powered(c.port)
		d := draft.Make(draft.Scaffold(o), ev, draft.Past{}, nil)
		if len(d.Plan.Devices) != 5 {
			t.Fatalf("%+v", d.Plan.Devices)
		}
		for _, got := range d.Plan.Devices {
			switch {
			case got.Name == "quay-switch" && (got.Reserves != poe.ByUse || got.Budget != 40*poe.Watt):
				t.Errorf("the switch: %+v", got)
			case got.Name != "quay-switch" && (got.Draws.Usual != c.device || got.Class != poe.Class3):
				t.Errorf("%s draws %s of class %s, want %s", got.Name, got.Draws.Usual, got.Class, c.device)
			}
		}
		if _, err := planfile.Render(d.Plan, d.Remarks...); err != nil {
			t.Error(err)
		}
	}
}

// What a device calls itself is a guess, and marked so.
func TestRoleByWords(t *testing.T) {
	for text, want := range map[string]inventory.Role{
		"Fairlead Dome, camera": inventory.Camera, "FX-200 NVR": inventory.Recorder, "Outdoor Access-Point 3": inventory.AccessPoint, "UPS 600": inventory.UPS,
		"Setups of groups": "", "Cameraman": "", "": "",
	} {
		o, ev := powered(poe.Watt)
		ev.Agents[0].System.Descr, ev.Agents[0].PSEPorts, ev.Agents[0].Bridge, ev.Agents[0].FDB = text, nil, nil, nil
		d := draft.Make(draft.Scaffold(o), ev, draft.Past{}, nil)
		got, ok := inventory.Device{}, false
		for _, x := range d.Plan.Devices {
			if x.Name == "quay-switch" {
				got, ok = x, true
			}
		}
		marked := slices.ContainsFunc(d.Remarks, func(r planfile.Remark) bool { return r.Device == got.Name && r.Key == "role" })
		if !ok || got.Role != want || !marked {
			t.Errorf("%q: role %q, want %q; marked: %v", text, got.Role, want, marked)
		}
	}
}

// A silent agent is named, and no device of the draft.
func TestSilentAgent(t *testing.T) {
	o := draft.Options{Networks: []inventory.Network{yard}, Access: []inventory.Access{{Name: "a", Version: "v2c", Port: 161, Community: "file:x"}},
		Agents: []draft.Agent{{Target: netip.MustParseAddrPort("203.0.113.2:161"), Access: "a"}}}
	scaffold := draft.Scaffold(o)
	ev := &inventory.Evidence{Finished: noon, Coverage: inventory.CoverageList{{Subject: scaffold.Devices[0].Name, Source: inventory.SourceSNMP,
		Result: inventory.NoAnswer, Why: "no response"}}}
	d := draft.Make(scaffold, ev, draft.Past{}, nil)
	if len(d.Plan.Devices) != 0 || len(d.Notes) != 1 || !strings.Contains(d.Notes[0], "203.0.113.2:161") || !strings.Contains(d.Notes[0], "no response") {
		t.Errorf("%+v %q", d.Plan.Devices, d.Notes)
	}
}

func TestUsed(t *testing.T) {
	for _, c := range []struct {
		in          []inventory.Power
		usual, most inventory.Power
	}{{nil, 0, 0}, {[]poe.Power{7}, 7, 7}, {[]poe.Power{9, 1, 2}, 2, 9}, {[]poe.Power{9, 1, 2, 8}, 2, 9}} {
		if u, m := draft.Used(c.in); u != c.usual || m != c.most {
			t.Errorf("%v: %d %d, want %d %d", c.in, u, m, c.usual, c.most)
		}
	}
}
