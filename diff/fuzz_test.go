package diff_test

import (
	"math"
	"math/rand/v2"
	"net/netip"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// chaos makes plans, snapshots and histories that no sane part would: names that
// collide, loops, figures out of range, pointers to nothing.
type chaos struct{ *rand.Rand }

func (c chaos) name() string {
	return []string{"", "a", "b", "c", "d", "e", "sw", "r", "x/y", "sw supply 1"}[c.IntN(10)]
}
func (c chaos) mac() inventory.MAC {
	return inventory.MAC{byte(c.IntN(3)), 0, 0x5e, 0, 0x53, byte(c.IntN(6))}
}
func (c chaos) port() inventory.PortRef {
	return inventory.PortRef{Device: c.name(), Port: []string{"", "1", "2", "GI1", "99999999999999999999"}[c.IntN(5)]}
}
func (c chaos) power() inventory.Power {
	return []inventory.Power{0, 1, -5000, 4000, 12950, 15400, 30000, math.MaxInt32, math.MinInt32}[c.IntN(9)]
}
func (c chaos) float() float64 {
	return []float64{0, 1, -1, 24, 57, 1e9, math.NaN(), math.Inf(1), math.Inf(-1), 0.3}[c.IntN(10)]
}
func (c chaos) rate() inventory.BitRate {
	return []inventory.BitRate{0, -1, 1, 4e6, 1e8, 1e9, math.MaxInt64, math.MinInt64}[c.IntN(8)]
}
func (c chaos) addr() netip.Addr {
	return []netip.Addr{{}, ip("192.0.2.1"), ip("192.0.2.5"), ip("203.0.113.1"), ip("203.0.113.9"), ip("169.254.1.1"), ip("fe80::1"), ip("2001:db8::1")}[c.IntN(8)]
}
func (c chaos) time() time.Time {
	return []time.Time{{}, noon, noon.Add(-time.Hour), noon.Add(-9 * 24 * time.Hour), noon.Add(time.Hour), time.Unix(math.MaxInt32, 0)}[c.IntN(6)]
}
func (c chaos) span() time.Duration {
	return []time.Duration{0, -time.Hour, time.Minute, 24 * time.Hour, math.MaxInt64, math.MinInt64}[c.IntN(6)]
}
func (c chaos) class() inventory.Class { return inventory.Class(c.IntN(20) - 5) }
func (c chaos) feed() inventory.Feed {
	return inventory.Feed{Standard: poe.Standard(c.IntN(8)), Volts: c.float(), Plus: poe.Pins(c.IntN(256)), Minus: poe.Pins(c.IntN(256)),
		Forced: c.IntN(4) == 0, Limit: c.power()}
}
func maybe[T any](c chaos, v T) *T {
	if c.IntN(3) == 0 {
		return nil
	}
	return &v
}
func many[T any](c chaos, most int, one func() T) []T {
	var out []T
	for range c.IntN(most + 1) {
		out = append(out, one())
	}
	return out
}

func (c chaos) device() inventory.Device {
	return inventory.Device{
		Name: c.name(), Role: append(inventory.Roles, "", "odd")[c.IntN(len(inventory.Roles)+2)], Important: c.IntN(3) == 0,
		MACs: many(c, 2, c.mac), Addresses: many(c, 2, c.addr), Access: []string{"", "core"}[c.IntN(2)],
		At: c.port(), Via: many(c, 2, c.name), Port: c.port().Port, VLAN: c.IntN(3), Tagged: many(c, 2, func() int { return c.IntN(5) }), Speed: c.rate(),
		Class: c.class(), Draws: inventory.Draws{Usual: c.power(), Most: c.power()}, Takes: c.feed(), MinVolt: c.float(), MaxVolt: c.float(), Mains: c.name(),
		Feeds: c.feed(), Ports: c.IntN(30) - 5, Spare: many(c, 2, func() string { return c.port().Port }), Guest: many(c, 2, func() string { return c.port().Port }),
		Budget: c.power(), Supplies: many(c, 2, c.power), Redundant: c.IntN(2) == 0, Reserves: poe.Reservation(c.IntN(7)),
		Guard: c.power(), Own: c.power(), Efficiency: c.float(),
		Stream: c.rate(), Duty: c.float(), Recorder: c.name(), Recording: inventory.Recording{Disk: int64(c.rate()), Keep: c.span()},
		UPS: inventory.UPSPlan{Rated: c.power(), Load: c.power(), Battery: c.float(), Runtime: c.span()},
		Cable: inventory.CableRun{Length: c.float(), Celsius: c.float(),
			CableSpec: inventory.CableSpec{Gauge: c.IntN(40) - 10, Conductor: []string{"", "copper", "cca", "gold"}[c.IntN(4)]}},
		PortPlans: many(c, 2, func() inventory.PortPlan {
			return inventory.PortPlan{Port: c.port().Port, Max: c.power(), Feeds: c.feed()}
		}),
		Restarts: many(c, 1, func() inventory.Schedule {
			return inventory.Schedule{Cron: []string{"", "* * * * *", "nonsense", "0 0 30 2 *"}[c.IntN(4)], For: c.span()}
		}),
		FactoryLogin: maybe(c, inventory.FactoryLogin{Over: "http"})}
}

func (c chaos) plan() *inventory.Plan {
	p := &inventory.Plan{Devices: many(c, 9, c.device), Severity: map[string]string{"missing-device": c.name(),
		"unknown-device": []string{"off", "note", "urgent", "?"}[c.IntN(4)]}}
	p.Networks = many(c, 2, func() inventory.Network {
		return inventory.Network{Name: c.name(), Subnet: netip.MustParsePrefix([]string{"192.0.2.0/24", "203.0.113.0/24"}[c.IntN(2)]),
			VLAN: c.IntN(3), Gateway: c.addr(), Unknown: []inventory.UnknownPolicy{"", "urgent", "count", "note"}[c.IntN(4)]}
	})
	p.Links = many(c, 2, func() inventory.RadioLink {
		return inventory.RadioLink{Name: c.name(), Between: [2]string{c.name(), c.name()}, Distance: c.float(), Frequency: c.float() * 100,
			Width: c.IntN(200) - 20, Standard: []string{"", "n", "ac", "zz"}[c.IntN(4)],
			Streams: c.IntN(9) - 2, TxPower: c.float(), Gain: [2]float64{c.float(), c.float()}, Feeder: c.float(), EIRPLimit: maybe(c, c.float()),
			Through: many(c, 2, c.name), Obstacle: c.float(), Clearance: c.float(),
			Needs: c.rate(), PortSpeed: [2]inventory.BitRate{c.rate(), c.rate()}, Level: maybe(c, c.float()), Others: c.rate()}
	})
	return p
}

func (c chaos) portState() inventory.PortState {
	ref := c.port()
	p := inventory.PortState{Switch: ref.Device, Port: ref.Port, AdminUp: maybe(c, c.IntN(2) == 0), Up: maybe(c, c.IntN(2) == 0), Speed: c.rate(),
		HalfDuplex: maybe(c, true), VLAN: c.IntN(4), VLANKnown: c.IntN(2) == 0,
		Tagged: many(c, 2, func() int { return c.IntN(5) }), Seen: many(c, 2, c.name), MACCount: c.IntN(4), Uplink: c.IntN(2) == 0,
		Counters: inventory.PortCounters{Read: c.time(), In: maybe(c, c.Uint64()), Out: maybe(c, c.Uint64()), Wide: c.IntN(2) == 0,
			InErrors: maybe(c, c.Uint64()), OutErrors: maybe(c, c.Uint64()), FCS: maybe(c, c.Uint64()), Late: maybe(c, c.Uint64()),
			Discontinuity: maybe(c, c.Uint32())}}
	p.Power = maybe(c, inventory.PortPower{Index: inventory.PSEIndex{Group: c.IntN(3), Port: c.IntN(3)},
		State: []inventory.PSEState{inventory.PSEDelivering, inventory.PSESearching, inventory.PSEOff, inventory.PSEFault, "odd", ""}[c.IntN(6)],
		Class: c.class(), Draw: maybe(c, c.power()), DrawBasis: []inventory.Basis{inventory.Measured, inventory.Negotiated, ""}[c.IntN(3)],
		Limit: maybe(c, c.power()), LimitBasis: inventory.Negotiated, Grant: maybe(c, c.power()),
		Denied: maybe(c, c.Uint32()), Overload: maybe(c, c.Uint32()), Short: maybe(c, c.Uint32()), MPSAbsent: maybe(c, c.Uint32())})
	return p
}

func (c chaos) seenDevice() inventory.SeenDevice {
	ref := c.port()
	return inventory.SeenDevice{Name: c.name(), Planned: c.IntN(2) == 0, Role: inventory.Roles[c.IntN(len(inventory.Roles))], MACs: many(c, 2, c.mac),
		Addrs: many(c, 2, c.addr), Foreign: many(c, 2, c.addr), Claimed: many(c, 2, c.mac),
		Hostname: "x\ny", Firmware: c.name(), Network: c.name(),
		Presence:  []inventory.Presence{inventory.Present, inventory.Absent, inventory.NotLooked, inventory.Unseeable, ""}[c.IntN(5)],
		Witnesses: many(c, 2, c.name),
		Place: inventory.Place{Switch: ref.Device, Port: ref.Port,
			Basis: []inventory.Basis{inventory.ByFDB, inventory.ByLLDP, inventory.Remembered, ""}[c.IntN(4)], Among: c.IntN(4) - 1, Seen: c.time()},
		UpTime:  maybe(c, inventory.UpTime{Ticks: c.Uint32(), Boots: maybe(c, c.Uint32()), Host: maybe(c, c.Uint32()), Read: c.time(), Up: c.span()}),
		Private: c.IntN(2) == 0, Self: c.IntN(9) == 0, BehindAP: c.IntN(2) == 0, NoAddress: c.IntN(2) == 0}
}

func (c chaos) snapshot() *inventory.Snapshot {
	return &inventory.Snapshot{Started: c.time(), Finished: c.time(), Devices: many(c, 12, c.seenDevice), Ports: many(c, 12, c.portState),
		Supplies: many(c, 3, func() inventory.SupplyState {
			return inventory.SupplyState{Switch: c.name(), Supply: []string{"0", "1", "2"}[c.IntN(3)], Budget: maybe(c, c.power()),
				Used: maybe(c, c.power()), Drawn: maybe(c, c.power()), DrawnBasis: inventory.Measured, Reserved: maybe(c, c.power()), Guard: c.power()}
		}),
		Radios: many(c, 3, func() inventory.RadioState {
			return inventory.RadioState{Device: c.name(), Level: maybe(c, c.float()), Rate: maybe(c, c.rate())}
		}),
		UPSes: many(c, 2, func() inventory.UPSState {
			return inventory.UPSState{Device: c.name(), Reading: inventory.UPSReading{Source: []string{"battery", "normal", ""}[c.IntN(3)],
				Battery: "low", OnBattery: maybe(c, c.span()), Runtime: maybe(c, c.span()), Charge: maybe(c, c.IntN(300)-100), Load: maybe(c, c.IntN(1<<30)-100)}}
		}),
		Disks: many(c, 2, func() inventory.DiskState { return inventory.DiskState{Device: c.name(), Size: int64(c.rate())} }),
		Clocks: many(c, 5, func() inventory.ClockState {
			return inventory.ClockState{Device: c.name(), Offset: c.span(), Sure: c.span()}
		}),
		Networks: many(c, 3, func() inventory.NetworkState {
			return inventory.NetworkState{Name: c.name(), Private: c.IntN(9) - 2, Counted: c.IntN(3)}
		}),
		Agents: many(c, 3, func() inventory.AgentState {
			return inventory.AgentState{Device: c.name(), Result: []inventory.Result{inventory.Complete, inventory.Refused, inventory.NoAnswer,
				""}[c.IntN(4)], Version: "v3", Weak: many(c, 1, c.name), Ports: map[string]int{c.name(): c.IntN(3)}}
		}),
		Shared: many(c, 2, func() inventory.SharedAddr {
			return inventory.SharedAddr{Addr: c.addr(), MACs: many(c, 3, c.mac), Tries: c.IntN(4)}
		}),
		Proxies: many(c, 2, func() inventory.ProxyARP {
			return inventory.ProxyARP{MAC: c.mac(), Device: c.name(), Network: c.name()}
		}),
		DHCP: many(c, 2, func() inventory.DHCPServer {
			return inventory.DHCPServer{Addr: c.addr(), MAC: c.mac(), Offered: c.addr(), Network: c.name()}
		}),
		Logins: many(c, 3, func() inventory.LoginResult {
			return inventory.LoginResult{Device: c.name(), Over: c.name(),
				Outcome: []string{inventory.LoginAccepted, inventory.LoginUnset, inventory.LoginCommunity, "odd"}[c.IntN(4)], When: c.time(), Fingerprint: c.name()}
		}),
		Doors: many(c, 2, func() inventory.DoorState { return inventory.DoorState{Device: c.name(), Port: uint16(c.IntN(90))} })}
}

func (c chaos) history() *inventory.History {
	if c.IntN(5) == 0 {
		return nil
	}
	h := &inventory.History{Absences: map[string]inventory.Absence{}, Flips: map[string][]inventory.Claim{},
		Peaks: map[inventory.PortRef][]inventory.Peak{}, Supplies: map[inventory.SupplyRef][]inventory.Peak{}, Levels: map[string][]inventory.Level{},
		Uptimes: map[string][]inventory.UpTime{}, Counters: map[inventory.PortRef]inventory.CounterBase{}, Open: map[string]inventory.Episode{},
		Private: map[string]int{}, Speeds: map[inventory.PortRef]inventory.BitRate{}, Booted: c.time()}
	if c.IntN(2) == 0 {
		h.Booted = time.Time{}
		h.Previous = c.snapshot()
	}
	for range 8 {
		n, ref := c.name(), c.port()
		h.Absences[n] = inventory.Absence{Since: c.time(), Runs: c.IntN(4)}
		h.Flips[c.addr().String()] = many(c, 4, func() inventory.Claim { return inventory.Claim{At: c.time(), MAC: c.mac()} })
		h.Peaks[ref] = many(c, 20, func() inventory.Peak {
			return inventory.Peak{Day: c.time(), At: c.time(), Draw: c.power(), Basis: inventory.Measured}
		})
		h.Supplies[inventory.SupplyRef{Switch: n, Supply: "1"}] = h.Peaks[ref]
		h.Levels[n] = many(c, 20, func() inventory.Level { return inventory.Level{Day: c.time(), DBm: c.float()} })
		h.Uptimes[n] = many(c, 4, func() inventory.UpTime { return inventory.UpTime{Ticks: c.Uint32(), Read: c.time()} })
		h.Counters[ref] = inventory.CounterBase{Last: c.portState(), Week: c.portState()}
		h.Private[n] = c.IntN(9) - 3
		h.Speeds[ref] = c.rate()
		h.Open["port-power-near/"+ref.String()] = inventory.Episode{Opened: c.time()}
		h.Open["radio-level-low/"+n] = inventory.Episode{}
	}
	h.Outages = many(c, 2, func() inventory.Outage {
		return inventory.Outage{From: c.time(), To: c.time(), What: []string{"internet", "power"}[c.IntN(2)]}
	})
	return h
}

// No input makes Audit, Paper, PaperLines, Fit or Trend panic; the same input
// gives the same findings, sorted, each key once, each kind one that exists.
func FuzzAudit(f *testing.F) {
	for seed := range uint64(1000) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		c := chaos{rand.New(rand.NewPCG(seed, 2))}
		plan, snap, hist := c.plan(), c.snapshot(), c.history()
		fs := diff.Audit(plan, snap, hist, noon)
		if again := diff.Audit(plan, snap, hist, noon); !reflect.DeepEqual(fs, again) {
			t.Fatalf("seed %d: two audits differ", seed)
		}
		checkAll(t, fs)
		checkAll(t, diff.Paper(plan))
		diff.PaperLines(plan)
		diff.Fit(plan, diff.Candidate{Role: inventory.Camera, Class: c.class(), Watts: c.power(), At: c.port(), Length: c.float(),
			Stream: c.rate(), Passive: c.feed()})
		if hist != nil {
			for _, ps := range hist.Peaks {
				diff.Trend(ps, c.power())
			}
		}
	})
}

func checkAll(t *testing.T, fs []diff.Finding) {
	t.Helper()
	keys := map[string]bool{}
	for _, f := range fs {
		if keys[f.Key] || !slices.Contains(diff.Kinds(), f.Kind) || !strings.HasPrefix(f.Key, string(f.Kind)+"/") || f.Severity.Rank() == 2 && f.Severity != diff.Note ||
			f.Observed == "" || f.Expected == "" || strings.Contains(say(f), "%!") {
			t.Errorf("bad finding: %+v", f)
		}
		keys[f.Key] = true
	}
	sorted := slices.Clone(fs)
	diff.Sort(sorted)
	if !reflect.DeepEqual(fs, sorted) {
		t.Error("not sorted")
	}
}

func TestNothingGivesNothing(t *testing.T) {
	for _, fs := range [][]diff.Finding{
		diff.Audit(nil, nil, nil, time.Time{}), diff.Audit(&inventory.Plan{}, nil, nil, noon), diff.Audit(nil, &inventory.Snapshot{}, nil, noon),
		diff.Audit(&inventory.Plan{}, &inventory.Snapshot{}, nil, time.Time{}), diff.Paper(nil), diff.Paper(&inventory.Plan{}),
	} {
		want(t, fs)
	}
	diff.PaperLines(nil)
	if a := diff.Fit(nil, diff.Candidate{}); a.Fits {
		t.Error("a device fits into no plan")
	}
	plan := site(theSwitch(8), onPort("a", inventory.Camera, 5, "sw/5"))
	s := seen(plan, noon)
	lose(s, "a")
	s.Aborted = true
	want(t, diff.Audit(plan, s, &inventory.History{Absences: map[string]inventory.Absence{"a": {Runs: 5}}}, noon)) // never compared
}
