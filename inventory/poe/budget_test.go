package poe_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

func watts(w float64) poe.Power { return poe.FromWatts(w) }

// FC-02: 65 W budget, 24 W drawn, four class 3 ports; a fifth is refused.
func TestRoomRefusesByClass(t *testing.T) {
	b := poe.Budget{Usable: 65 * poe.Watt, Reported: 24 * poe.Watt}
	for port := 1; port <= 4; port++ {
		b.Ports = append(b.Ports, poe.PortLoad{Port: port, Class: poe.Class3})
	}
	r := b.Room(poe.PortLoad{Port: 5, Class: poe.Class3})
	if r.Fits || r.Reserved != watts(61.6) || r.Free != watts(3.4) || r.Need != watts(15.4) || r.Drawn != 24*poe.Watt ||
		r.Short != 12*poe.Watt || r.By != poe.ByClass {
		t.Errorf("%+v", r)
	}
	if want := []poe.Shortage{{What: "reserved", Free: watts(3.4), Need: watts(15.4)}}; !slices.Equal(r.Shortages, want) {
		t.Errorf("shortages %+v, want %+v", r.Shortages, want)
	}
	if len(r.Sheds) != 0 {
		t.Errorf("ports %v of the same priority would be shed", r.Sheds)
	}
	// The same draw on a switch that reserves by use: there is room.
	b.Policy.Reserves = poe.ByUse
	for i := range b.Ports {
		b.Ports[i].Draw = 6 * poe.Watt
	}
	if r := b.Room(poe.PortLoad{Port: 5, Class: poe.Class3}); !r.Fits || r.Free != 41*poe.Watt || r.Short != 0 {
		t.Errorf("by use: %+v", r)
	}
	// A fifth of class 1 would not fit either: 4 W against 3.4 W.
	b.Policy.Reserves = poe.ByClass
	if r := b.Room(poe.PortLoad{Port: 5, Class: poe.Class1}); r.Fits || r.Short != watts(0.6) {
		t.Errorf("class 1: %+v", r)
	}
	// Asked again for a port that is already there, it counts once.
	if r := b.Room(poe.PortLoad{Port: 4, Class: poe.Class3}); !r.Fits || r.Reserved != watts(46.2) {
		t.Errorf("port 4 again: %+v", r)
	}
}

func TestRoom(t *testing.T) {
	ports := func(loads ...poe.PortLoad) []poe.PortLoad { return loads }
	class3 := poe.PortLoad{Class: poe.Class3}
	type want struct {
		fits   bool
		short  float64
		reason string
	}
	for _, c := range []struct {
		name   string
		budget poe.Budget
		device poe.PortLoad
		want   want
	}{
		// A switch manual's example: 382 W budget, 378 W in use, a 10 W device is
		// refused (10 W at the port is class 3).
		{"382 W, 378 W in use", poe.Budget{Usable: 382 * poe.Watt, Reported: 378 * poe.Watt, Policy: poe.Policy{Reserves: poe.ByUse}},
			poe.PortLoad{Draw: 10 * poe.Watt}, want{false, 11.4, "drawn"}},
		// Another manual: a Type 1 device needs 17 W free, a Type 2 one 33 W.
		{"16 W free, a Type 1 device", poe.Budget{Usable: 16 * poe.Watt, Policy: poe.Policy{LeastFree1: 17 * poe.Watt, LeastFree2: 33 * poe.Watt}},
			class3, want{false, 1, "least-free"}},
		{"17 W free, a Type 1 device", poe.Budget{Usable: 17 * poe.Watt, Policy: poe.Policy{LeastFree1: 17 * poe.Watt, LeastFree2: 33 * poe.Watt}},
			class3, want{true, 0, ""}},
		{"32 W free, a Type 2 device", poe.Budget{Usable: 32 * poe.Watt, Policy: poe.Policy{LeastFree1: 17 * poe.Watt, LeastFree2: 33 * poe.Watt}},
			poe.PortLoad{Class: poe.Class4}, want{false, 1, "least-free"}},
		{"the guard is not free", poe.Budget{Usable: 20 * poe.Watt, Guard: 5 * poe.Watt}, class3, want{false, 0.4, "reserved drawn"}},
		{"to the milliwatt", poe.Budget{Usable: watts(15.4)}, class3, want{true, 0, ""}},
		{"peaks above the reservations", poe.Budget{Usable: 40 * poe.Watt, Ports: ports(poe.PortLoad{Port: 1, Class: poe.Class1, Draw: 26 * poe.Watt})},
			class3, want{false, 1.4, "drawn"}},
		{"fixed", poe.Budget{Usable: 30 * poe.Watt, Policy: poe.Policy{Reserves: poe.Fixed},
			Ports: ports(poe.PortLoad{Port: 1, Class: poe.Class3, Fixed: 10 * poe.Watt})},
			poe.PortLoad{Class: poe.Class4, Fixed: 20 * poe.Watt}, want{true, 0, ""}},
		{"by LLDP it starts as its class", poe.Budget{Usable: 20 * poe.Watt, Policy: poe.Policy{Reserves: poe.ByLLDP},
			Ports: ports(poe.PortLoad{Port: 1, Class: poe.Class4, Negotiated: 8 * poe.Watt})},
			poe.PortLoad{Class: poe.Class3, Negotiated: 5 * poe.Watt}, want{false, 3.4, "reserved"}},
		{"a maker's margin", poe.Budget{Usable: watts(15.4), Policy: poe.Policy{Outputs: map[poe.Class]poe.Power{poe.Class3: watts(16.2)}}}, class3,
			want{false, 0.8, "reserved drawn"}},
		{"class of the device unknown", poe.Budget{Usable: 100 * poe.Watt}, poe.PortLoad{}, want{false, 0, ""}},
		{"budget unknown", poe.Budget{}, class3, want{false, 0, ""}},
		{"a port that nobody understands", poe.Budget{Usable: 100 * poe.Watt, Ports: ports(poe.PortLoad{Port: 7})}, class3, want{false, 0, ""}},
		{"such a port does not hide a shortage", poe.Budget{Usable: 10 * poe.Watt, Ports: ports(poe.PortLoad{Port: 7})}, class3, want{false, 5.4, "reserved drawn"}},
		// An injector: 24 W, a radio of 7 W and its cable, then another.
		{"passive loads need their draw", poe.Budget{Usable: 24 * poe.Watt, Ports: ports(poe.PortLoad{Port: 1, Passive: true, Draw: watts(7.3)})},
			poe.PortLoad{Passive: true, Draw: watts(7.3)}, want{true, 0, ""}},
		{"passive load of unknown draw", poe.Budget{Usable: 24 * poe.Watt}, poe.PortLoad{Passive: true, Class: poe.Class3}, want{false, 0, ""}},
	} {
		r := c.budget.Room(c.device)
		var reasons []string
		for _, s := range r.Shortages {
			reasons = append(reasons, s.What)
			if s.Need <= s.Free {
				t.Errorf("%s: %+v is no shortage", c.name, s)
			}
		}
		if got := (want{r.Fits, r.Short.Watts(), strings.Join(reasons, " ")}); got != c.want {
			t.Errorf("%s: %+v; want %+v", c.name, got, c.want)
		}
	}
}

func TestRoomNamesUnknownPorts(t *testing.T) {
	b := poe.Budget{Usable: 100 * poe.Watt, Ports: []poe.PortLoad{{Port: 7}, {Port: 3, Passive: true}}}
	r := b.Room(poe.PortLoad{Class: poe.Class3})
	if !slices.Equal(r.Unknown, []int{7, 3}) {
		t.Errorf("unknown ports %v", r.Unknown)
	}
}

// Each way to reserve, and what it falls back to; class outputs as in the class
// table, the margins from one switch manual.
func TestReserve(t *testing.T) {
	load := poe.PortLoad{Class: poe.Class4, Fixed: 20 * poe.Watt, Negotiated: 14 * poe.Watt, Draw: 9 * poe.Watt}
	margins := map[poe.Class]poe.Power{poe.Class1: 4_200, poe.Class2: 7_400, poe.Class3: 16_200, poe.Class4: 31_600}
	for _, c := range []struct {
		name   string
		policy poe.Policy
		port   poe.PortLoad
		want   poe.Power
		by     poe.Reservation
	}{
		{"not said counts as by class", poe.Policy{}, load, 30 * poe.Watt, poe.ByClass},
		{"by class", poe.Policy{Reserves: poe.ByClass}, load, 30 * poe.Watt, poe.ByClass},
		{"fixed", poe.Policy{Reserves: poe.Fixed}, load, 20 * poe.Watt, poe.Fixed},
		{"by LLDP", poe.Policy{Reserves: poe.ByLLDP}, load, 14 * poe.Watt, poe.ByLLDP},
		{"by use", poe.Policy{Reserves: poe.ByUse}, load, 9 * poe.Watt, poe.ByUse},
		{"fixed without a figure", poe.Policy{Reserves: poe.Fixed}, poe.PortLoad{Class: poe.Class2}, 7 * poe.Watt, poe.ByClass},
		{"by LLDP without LLDP", poe.Policy{Reserves: poe.ByLLDP}, poe.PortLoad{Class: poe.Class1, Draw: poe.Watt}, 4 * poe.Watt, poe.ByClass},
		{"by use without a measure", poe.Policy{Reserves: poe.ByUse}, poe.PortLoad{Class: poe.Class0}, 15_400, poe.ByClass},
		{"a draw is no class", poe.Policy{}, poe.PortLoad{Draw: 9 * poe.Watt}, 0, 0},
		{"nothing known", poe.Policy{Reserves: poe.ByUse}, poe.PortLoad{}, 0, 0},
		{"negative figures are none", poe.Policy{Reserves: poe.ByUse}, poe.PortLoad{Class: poe.Class3, Draw: -5}, 15_400, poe.ByClass},
		{"margin", poe.Policy{Outputs: margins}, poe.PortLoad{Class: poe.Class4}, 31_600, poe.ByClass},
		{"no margin for class 0", poe.Policy{Outputs: margins}, poe.PortLoad{Class: poe.Class0}, 15_400, poe.ByClass},
		{"autoclass", poe.Policy{AutoclassMargin: 500}, poe.PortLoad{Class: poe.Class6, Autoclass: 41 * poe.Watt}, 41_500, poe.ByClass},
		{"autoclass never above the class", poe.Policy{AutoclassMargin: poe.Watt}, poe.PortLoad{Class: poe.Class3, Autoclass: 15 * poe.Watt}, 15_400, poe.ByClass},
		{"passive", poe.Policy{}, poe.PortLoad{Passive: true, Draw: 7 * poe.Watt}, 7 * poe.Watt, poe.ByUse},
	} {
		if got, by := c.policy.Reserve(c.port); got != c.want || by != c.by {
			t.Errorf("%s: %v %v, want %v %v", c.name, got, by, c.want, c.by)
		}
	}
	for i, row := range classTable {
		c, err := poe.ClassOf(int64(i))
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := (poe.Policy{}).Reserve(poe.PortLoad{Class: c}); got != watts(row.output) {
			t.Errorf("%s reserves %v, want %v W", c, got, row.output)
		}
	}
}

// Lowest priority first, among equals the highest port number (a switch manual).
func TestShed(t *testing.T) {
	b := poe.Budget{Ports: []poe.PortLoad{
		{Port: 1, Priority: 3, Class: poe.Class3},
		{Port: 2, Priority: 1, Class: poe.Class3},
		{Port: 3, Priority: 2, Class: poe.Class1},
		{Port: 4, Priority: 3, Class: poe.Class2},
		{Port: 5, Priority: 2, Class: poe.Class4},
		{Port: 6, Class: poe.Class1}, // no priority is the lowest
	}}
	for _, c := range []struct {
		name  string
		short float64
		above int
		want  []int
	}{
		{"nothing", 0, 0, nil},
		{"a little", 0.1, 0, []int{6}},
		{"exactly one", 4, 0, []int{6}},
		{"more than one", 4.1, 0, []int{6, 4}},
		{"all low ones, then the highest port", 30, 0, []int{6, 4, 1, 5}},
		{"more than all have", 1000, 0, []int{6, 4, 1, 5, 3, 2}},
		{"only those below high", 1000, 2, []int{6, 4, 1}},
		{"only those below critical", 1000, 1, []int{6, 4, 1, 5, 3}},
		{"none is below low", 1000, 3, nil},
		{"nor below an odd number", 1000, 17, nil},
	} {
		if got := b.Shed(watts(c.short), c.above); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if b.Ports[0].Port != 1 || b.Ports[5].Port != 6 {
		t.Error("Shed moved the caller's ports")
	}
	b.Usable = 80 * poe.Watt // 75.8 W reserved
	if r := b.Room(poe.PortLoad{Port: 9, Priority: 1, Class: poe.Class3}); r.Fits || !slices.Equal(r.Sheds, []int{6, 4, 1}) {
		t.Errorf("a critical device beside others: %+v", r)
	}
}

func TestUsable(t *testing.T) {
	for _, c := range []struct {
		name      string
		supplies  []poe.Power
		redundant bool
		want      float64
	}{
		{"none", nil, false, 0},
		{"two", []poe.Power{370 * poe.Watt, 740 * poe.Watt}, false, 1110},
		{"n+1 must do without the largest", []poe.Power{370 * poe.Watt, 740 * poe.Watt, 370 * poe.Watt}, true, 740},
		{"one of two alike", []poe.Power{740 * poe.Watt, 740 * poe.Watt}, true, 740},
		{"one alone is no reserve", []poe.Power{740 * poe.Watt}, true, 0},
		{"negative", []poe.Power{-740 * poe.Watt, poe.Watt}, false, 1},
		{"more than fits", []poe.Power{math.MaxInt32, math.MaxInt32}, false, 2147483.647},
	} {
		if got := poe.Usable(c.supplies, c.redundant); got != watts(c.want) {
			t.Errorf("%s: %v, want %v W", c.name, got, c.want)
		}
	}
}

// Class 4 upstream, own 6 W, efficiency counted in: 19.5 W (computed outside
// this program); one class 3 and one class 1 port fit, two of class 3 do not.
func TestPassThrough(t *testing.T) {
	budget := poe.PassThrough(poe.Class4.Ratings().Input, 6*poe.Watt, 1, 0)
	if budget != watts(19.5) {
		t.Errorf("%v, want 19.5 W", budget)
	}
	b := poe.Budget{Usable: budget, Ports: []poe.PortLoad{{Port: 1, Class: poe.Class3}}}
	if r := b.Room(poe.PortLoad{Port: 2, Class: poe.Class1}); !r.Fits {
		t.Errorf("class 3 and class 1: %+v", r)
	}
	if r := b.Room(poe.PortLoad{Port: 2, Class: poe.Class3}); r.Fits || r.Short != watts(11.3) {
		t.Errorf("two of class 3: %+v", r)
	}
	for _, c := range []struct {
		name                                 string
		input, own, efficiency, stated, want float64
	}{
		{"its maker allows less", 51, 6, 1, 30, 30},
		{"its maker allows more", 25.5, 6, 1, 30, 19.5},
		{"efficiency", 51, 6, 0.9, 0, 40.5},
		{"efficiency unknown", 26, 6, 0, 0, 17},
		{"efficiency of no sense", 26, 6, 1.5, 0, 17},
		{"efficiency not a number", 26, 6, math.NaN(), 0, 17},
		{"nothing left", 5, 6, 1, 0, 0},
		{"nothing arrives", 0, 0, 1, 30, 0},
		{"negative own need", 25.5, -6, 1, 0, 25.5},
	} {
		if got := poe.PassThrough(watts(c.input), watts(c.own), c.efficiency, watts(c.stated)); got != watts(c.want) {
			t.Errorf("%s: %v, want %v W", c.name, got, c.want)
		}
	}
}

// A hut on an injector: 24 W at 24 V through 15 m of 24 AWG, a switch of 2 W. By
// hand: 1 A loses 1.26 W in 1.2632 ohm, so 22.74 W arrive.
func TestPassThroughOnInjector(t *testing.T) {
	d, err := cable.Receive(24, metres(15, 24).Resistance(cable.TwoPairs), 24)
	if err != nil {
		t.Fatal(err)
	}
	got := poe.PassThrough(watts(d.Source-d.Loss), 2*poe.Watt, 1, 0)
	near(t, "left for the hut", got.Watts(), 20.737, 0.001)
}

// A slow twin of Room for switches that reserve by class: count the watts port
// by port, on random switches.
func TestRoomAgainstCounting(t *testing.T) {
	rng := rand.New(rand.NewPCG(65, 24))
	outputs := []int{15400, 4000, 7000, 15400, 30000, 45000, 60000, 75000, 90000}
	fitted := 0
	const switches = 5000
	for range switches {
		b := poe.Budget{Usable: poe.Power(rng.IntN(400_000) + 1), Guard: poe.Power(rng.IntN(20_000))}
		left := int(b.Usable) - int(b.Guard)
		for port := range rng.IntN(12) {
			class := rng.IntN(9)
			c, err := poe.ClassOf(int64(class))
			if err != nil {
				t.Fatal(err)
			}
			b.Ports = append(b.Ports, poe.PortLoad{Port: port + 1, Class: c, Priority: rng.IntN(4)})
			left -= outputs[class]
		}
		r := b.Room(poe.PortLoad{Class: poe.Class4, Priority: 1})
		if r.Fits != (left >= 30000) || int(r.Free) != left || int(r.Short) != max(30000-left, 0) {
			t.Fatalf("%+v: %+v, want %d mW left", b, r, left)
		}
		if r.Fits {
			fitted++
		}
	}
	if fitted < switches/10 || fitted > switches*9/10 {
		t.Errorf("%d of %d fitted: the inputs do not try both", fitted, switches)
	}
}
