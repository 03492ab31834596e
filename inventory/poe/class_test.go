package poe_test

import (
	"encoding/json"
	"math"
	"testing"

	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, within)
	}
}

// Watts and first Type: Ethernet Alliance, "Overview of 802.3bt" (2018), for 1
// to 8; restated 802.3af table for 0 and 12.95 W. Volts: restated per-Type
// table; 44.3 V and 42.9 V from memory. The last three columns were computed
// outside this program with the cable equation; published watts round them.
var classTable = []struct {
	number, typ       int
	pairs             cable.Pairs
	output, input     float64
	least, most, ohms float64
	device            float64 // 0: none published
	volts, amps, at   float64
}{
	{0, 1, 2, 15.4, 12.95, 44, 57, 20, 37.0, 37.0000, 0.35000, 15.4000},
	{1, 1, 2, 4, 3.84, 44, 57, 20, 0, 42.1792, 0.09104, 4.0058},
	{2, 1, 2, 7, 6.49, 44, 57, 20, 0, 40.8202, 0.15899, 6.9956},
	{3, 1, 2, 15.4, 12.95, 44, 57, 20, 37.0, 37.0000, 0.35000, 15.4000},
	{4, 2, 2, 30, 25.5, 50, 57, 12.5, 42.5, 42.5000, 0.60000, 30.0000},
	{5, 3, 4, 45, 40, 50, 57, 6.25, 44.3, 44.3649, 0.90161, 45.0807},
	{6, 3, 4, 60, 51, 50, 57, 6.25, 42.5, 42.5000, 1.20000, 60.0000},
	{7, 4, 4, 75, 62, 52, 57, 6.25, 42.9, 42.9853, 1.44235, 75.0024},
	{8, 4, 4, 90, 71.3, 52, 57, 6.25, 41.1, 41.1781, 1.73150, 90.0381},
}

func TestRatings(t *testing.T) {
	for _, row := range classTable {
		c, err := poe.ClassOf(int64(row.number))
		if err != nil {
			t.Fatal(err)
		}
		r := c.Ratings()
		if r.Type != row.typ || r.Pairs != row.pairs || r.Output != poe.FromWatts(row.output) || r.Input != poe.FromWatts(row.input) {
			t.Errorf("%s: %+v, want %+v", c, r, row)
		}
		if r.PortVolts != row.least || r.PortVoltsMost != row.most {
			t.Errorf("%s: %v to %v V at the port, want %v to %v", c, r.PortVolts, r.PortVoltsMost, row.least, row.most)
		}
		if row.device != 0 && r.DeviceVolts != row.device {
			t.Errorf("%s: %v V at the device, want %v", c, r.DeviceVolts, row.device)
		}
		ohms := r.PairSetOhms * 2 / float64(r.Pairs)
		near(t, c.String()+" channel", ohms, row.ohms, 0)
		d, err := cable.Deliver(r.PortVolts, ohms, r.Input.Watts())
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.String()+" volts", d.Volts, row.volts, 0.0001)
		near(t, c.String()+" amperes", d.Amps, row.amps, 0.00001)
		near(t, c.String()+" watts", d.Source, row.at, 0.0003)
		near(t, c.String()+" published watts", d.Source, row.output, 0.1)
		if d.Volts < r.DeviceVolts-1e-9 {
			t.Errorf("%s: %v V on its own worst channel, below its %v V", c, d.Volts, r.DeviceVolts)
		}
		if perSet := 2 * d.ConductorAmps(r.Pairs); perSet > r.PairSetAmps+1e-9 {
			t.Errorf("%s: %v A on two pairs, above %v A", c, perSet, r.PairSetAmps)
		}
	}
	if (poe.Class(0).Ratings() != poe.Ratings{}) || (poe.Class(-3).Ratings() != poe.Ratings{}) || (poe.Class(10).Ratings() != poe.Ratings{}) {
		t.Error("an unknown class has ratings")
	}
}

// RFC 3621, pethPsePortPowerClassifications: class0(1) to class4(5) (FC-03).
func TestFromMIB(t *testing.T) {
	for _, c := range []struct {
		code int64
		want string
	}{
		{1, "class 0"},
		{4, "class 3"},
		{5, "class 4"},
		{0, "class not understood (0)"},
		{9, "class not understood (9)"},
		{6, "class not understood (6)"}, // no value for classes 5 to 8
		{-1, "class not understood (-1)"},
		{math.MaxInt64, "class not understood (9223372036854775807)"},
		{1 << 32, "class not understood (4294967296)"}, // not cut to 0
		{257, "class not understood (257)"},            // nor to 1
	} {
		class, err := poe.FromMIB(c.code)
		got := class.String()
		if err != nil {
			got = err.Error()
			if class != 0 {
				t.Errorf("FromMIB(%d): %v beside an error", c.code, class)
			}
		}
		if got != c.want {
			t.Errorf("FromMIB(%d) = %q, want %q", c.code, got, c.want)
		}
	}
}

func TestClass(t *testing.T) {
	if s := poe.Class(0).String(); s != "class unknown" {
		t.Errorf("the zero class prints as %q", s)
	}
	for _, n := range []int64{-1, 9, 1 << 8, 1<<32 + 3} {
		if c, err := poe.ClassOf(n); err == nil {
			t.Errorf("ClassOf(%d) = %v", n, c)
		}
	}
	for text, want := range map[string]poe.Class{"0": poe.Class0, "3": poe.Class3, "8": poe.Class8, "null": 0} {
		var c poe.Class
		if err := json.Unmarshal([]byte(text), &c); err != nil || c != want {
			t.Errorf("%s reads as %v, %v", text, c, err)
		}
		if out, err := json.Marshal(want); err != nil || string(out) != text {
			t.Errorf("%v writes as %s, %v", want, out, err)
		}
	}
	for _, text := range []string{"9", "-1", `"3"`, "3.5", "{}", "true"} {
		c := poe.Class5
		if err := json.Unmarshal([]byte(text), &c); err == nil {
			t.Errorf("%s reads as %v", text, c)
		}
	}
	omitted, err := json.Marshal(struct {
		Class poe.Class `json:"class,omitzero"`
	}{})
	if err != nil || string(omitted) != "{}" {
		t.Errorf("an unknown class is written as %s, %v", omitted, err)
	}
}

// A device's need in watts and the smallest class whose input, in the table
// above, covers it.
func TestClassFor(t *testing.T) {
	for _, c := range []struct {
		watts float64
		want  poe.Class
	}{
		{0, 0}, {-1, 0}, {0.001, poe.Class1}, {3.84, poe.Class1}, {3.841, poe.Class2}, {6.5, poe.Class3}, {12.95, poe.Class3},
		{13, poe.Class4}, {25.5, poe.Class4}, {26, poe.Class5}, {71.3, poe.Class8}, {71.301, 0},
	} {
		if got := poe.ClassFor(poe.FromWatts(c.watts)); got != c.want {
			t.Errorf("ClassFor(%v W) = %v, want %v", c.watts, got, c.want)
		}
	}
}

func TestPower(t *testing.T) {
	for _, c := range []struct {
		power poe.Power
		want  string
	}{
		{12_900, "12.9 W"}, {65 * poe.Watt, "65 W"}, {15_400, "15.4 W"}, {12_949, "12.9 W"}, {12_950, "13.0 W"}, {0, "0 W"},
		{40, "0.0 W"}, {-1_250, "-1.3 W"}, {-2_000, "-2 W"}, {math.MaxInt32, "2147483.6 W"}, {math.MinInt32, "-2147483.6 W"},
	} {
		if got := c.power.String(); got != c.want {
			t.Errorf("%d mW prints as %q, want %q", c.power, got, c.want)
		}
	}
	for _, c := range []struct {
		watts float64
		want  poe.Power
	}{
		{12.95, 12_950}, {71.3, 71_300}, {0.0004, 0}, {math.NaN(), 0}, {math.Inf(1), math.MaxInt32}, {math.Inf(-1), math.MinInt32},
		{1e300, math.MaxInt32}, {-1e300, math.MinInt32},
	} {
		if got := poe.FromWatts(c.watts); got != c.want {
			t.Errorf("FromWatts(%v) = %d, want %d", c.watts, got, c.want)
		}
	}
}

// LLDP's unit is 0.1 W at the device's input. 255 is 25.5 W, the Type 2 device
// of 802.3at; 130 is what a switch manual shows for a 15.4 W port. MED is valid
// below 1024 (as tcpdump decodes ANSI/TIA-1057).
func TestFromTenths(t *testing.T) {
	for tenths, want := range map[int64]poe.Power{0: 0, 130: 13 * poe.Watt, 255: 25_500, 999: 99_900, 1023: 102_300} {
		if got, err := poe.FromTenths(tenths); err != nil || got != want {
			t.Errorf("FromTenths(%d) = %v, %v, want %v", tenths, got, err, want)
		}
	}
	for _, tenths := range []int64{-1, 1024, 65535, math.MaxInt64, math.MinInt64, 1 << 32} {
		if got, err := poe.FromTenths(tenths); err == nil {
			t.Errorf("FromTenths(%d) = %v", tenths, got)
		}
	}
}

// The loss belongs between the two ends: 25.5 W at the device are 30 W at the
// port on the worst channel (IEEE 802.3at), and 27.07 W at half of it and 54 V.
func TestAtPort(t *testing.T) {
	half := cable.Run{Segments: []cable.Segment{{Length: 50}}}
	for _, c := range []struct {
		name   string
		device poe.Power
		volts  float64
		pairs  cable.Pairs
		run    cable.Run
		want   float64
	}{
		{"class 4, worst channel", 25_500, 50, cable.TwoPairs, cable.Run{}, 30},
		{"class 4, half the channel, 54 V", 25_500, 54, cable.TwoPairs, half, 27.0707},
		{"class 6, worst channel", 51_000, 50, cable.FourPairs, cable.Run{}, 60},
	} {
		got, err := poe.AtPort(c.device, c.volts, c.pairs, c.run)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, got.Watts(), c.want, 0.001)
	}
	if p, err := poe.AtPort(60*poe.Watt, 50, cable.TwoPairs, cable.Run{}); err == nil {
		t.Errorf("60 W through 12.5 ohm from 50 V, of at most 50 W: %v", p)
	}
}
