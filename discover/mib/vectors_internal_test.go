package mib

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// row makes a row of an object, for tests.
func row(column snmp.OID, v snmp.Value, index ...uint32) snmp.Row {
	return snmp.Row{OID: column.Append(index...), Value: v}
}

func integer(n int64) snmp.Value  { return snmp.ValueOf(snmp.Integer, n) }
func gauge(n int64) snmp.Value    { return snmp.ValueOf(snmp.Gauge32, n) }
func octets(s string) snmp.Value  { return snmp.ValueOf(snmp.OctetString, s) }
func pointer(s string) snmp.Value { return snmp.ValueOf(snmp.ObjectID, snmp.MustOID(s)) }

// Examples of RFC 2579 DateAndTime and its errata; the rest by its rules.
func TestDateAndTime(t *testing.T) {
	east := time.FixedZone("", 5*3600+30*60)
	for name, c := range map[string]struct {
		in   string
		want time.Time
		zone bool
		ok   bool
	}{
		"RFC 2579: 1992-5-26,13:30:15.0,-4:0": {"\x07\xc8\x05\x1a\x0d\x1e\x0f\x00-\x04\x00", time.Date(1992, 5, 26, 17, 30, 15, 0, time.UTC), true, true},
		"RFC 2579: the same without a zone":   {"\x07\xc8\x05\x1a\x0d\x1e\x0f\x00", time.Date(1992, 5, 26, 13, 30, 15, 0, time.UTC), false, true},
		"half an hour, tenths":                {"\x07\xea\x0b\x19\x00\x00\x00\x05+\x05\x1e", time.Date(2026, 11, 25, 0, 0, 0, 5e8, east), true, true},
		"leap second":                         {"\x07\xe0\x0c\x1f\x17\x3b\x3c\x00+\x00\x00", time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC), true, true},
		"erratum: all zero is unknown":        {"\x00\x00\x00\x00\x00\x00\x00\x00", time.Time{}, false, false},
		"month 13":                            {"\x07\xc8\x0d\x1a\x0d\x1e\x0f\x00", time.Time{}, false, false},
		"day 0":                               {"\x07\xc8\x05\x00\x0d\x1e\x0f\x00", time.Time{}, false, false},
		"15 hours east":                       {"\x07\xc8\x05\x1a\x0d\x1e\x0f\x00+\x0f\x00", time.Time{}, false, false},
		"60 minutes east":                     {"\x07\xc8\x05\x1a\x0d\x1e\x0f\x00+\x01\x3c", time.Time{}, false, false},
		"hour 24":                             {"\x07\xc8\x05\x1a\x18\x1e\x0f\x00", time.Time{}, false, false},
		"31 April":                            {"\x07\xc8\x04\x1f\x0d\x1e\x0f\x00", time.Time{}, false, false},
		"no sign":                             {"\x07\xc8\x05\x1a\x0d\x1e\x0f\x00 \x04\x00", time.Time{}, false, false},
		"9 octets":                            {"\x07\xc8\x05\x1a\x0d\x1e\x0f\x00\x00", time.Time{}, false, false},
		"text":                                {"2026-11-25,1", time.Time{}, false, false},
		"empty":                               {"", time.Time{}, false, false},
	} {
		at, zone, ok := dateAndTime(octets(c.in))
		if !at.Equal(c.want) || zone != c.zone || ok != c.ok {
			t.Errorf("%s: %v, zone %v, ok %v", name, at, zone, ok)
		}
	}
}

// RFC 3433: the range of celsius in EntitySensorPrecision, negative precision,
// overflow, status, truth, and the two scales whose labels are swapped. The others
// follow its rule.
func TestSensorScaling(t *testing.T) {
	const ok = 1
	for name, c := range map[string]struct {
		scale, precision, value, status int64
		want                            any
	}{
		"units, 1 place: 0.0":                 {9, 1, 0, ok, 0.0},
		"units, 1 place: 100.0":               {9, 1, 1000, ok, 100.0},
		"units, 1 place":                      {9, 1, 235, ok, 23.5},
		"no places":                           {9, 0, 41, ok, 41.0},
		"below zero":                          {9, 1, -55, ok, -5.5},
		"milli":                               {8, 0, 12950, ok, 12.95},
		"milli, 2 places":                     {8, 2, 1295000, ok, 12.95},
		"units, 3 places":                     {9, 3, 53800, ok, 53.8},
		"micro":                               {7, 0, 240000, ok, 0.24},
		"kilo, 2 places":                      {10, 2, 123, ok, 1230.0},
		"3 accurate digits shift nothing":     {9, -3, 15, ok, 15.0},
		"scale 14 is 10^15":                   {14, 0, 1, ok, 1e15},
		"scale 15 is 10^18":                   {15, 0, 1, ok, 1e18},
		"overflow":                            {9, 0, 1_000_000_000, ok, nil},
		"underflow":                           {9, 0, -1_000_000_000, ok, nil},
		"unavailable":                         {9, 0, 41, 2, nil},
		"nonoperational":                      {9, 0, 41, 3, nil},
		"scale 0 is none":                     {0, 0, 41, ok, nil},
		"scale 18 is none":                    {18, 0, 41, ok, nil},
		"more places than the type can have":  {9, 10, 41, ok, nil},
		"fewer digits than the type can have": {9, -9, 41, ok, nil},
	} {
		r := rows{
			row(entPhySensorEntry, integer(6), 1, 7), row(entPhySensorEntry, integer(c.scale), 2, 7), row(entPhySensorEntry, integer(c.precision), 3, 7),
			row(entPhySensorEntry, integer(c.value), 4, 7), row(entPhySensorEntry, integer(c.status), 5, 7),
		}
		got := decodeSensors(r, nil)
		if len(got) != 1 || got[0].Entity != 7 || got[0].Type != 6 {
			t.Fatalf("%s: %+v", name, got)
		}
		switch v := got[0].Value; {
		case (v == nil) != (c.want == nil):
			t.Errorf("%s: got %v, want %v", name, v, c.want)
		case v != nil && *v != c.want:
			t.Errorf("%s: got %v, want %v", name, *v, c.want)
		}
	}
}

// RFC 7460: eoPower is negative for what supplies; the multiplier is the exponent
// itself (its example: -3 is milliwatts); caliber unavailable(1) is no data.
func TestEnergy(t *testing.T) {
	for name, c := range map[string]struct {
		power, multiplier, caliber int64
		want                       string
	}{
		"consumes, measured":             {12950, -3, 3, "12950 mW measured"},
		"delivers, measured":             {-15400, -3, 3, "15400 mW measured supplies"},
		"from a table":                   {15, 0, 5, "15000 mW"},
		"no data":                        {0, 0, 1, "none"},
		"kilowatts":                      {2, 3, 4, "2000000 mW"},
		"what no small site has":         {1000, 6, 3, "none"},
		"a multiplier that is none":      {15, 99, 3, "none"},
		"the least that Integer32 holds": {math.MinInt32, -6, 3, "2147484 mW measured supplies"},
	} {
		r := sorted([]snmp.Row{
			row(eoPower, integer(c.power), 3008), row(eoPowerEntry, integer(c.multiplier), 3, 3008), row(eoPowerEntry, integer(c.caliber), 5, 3008),
			row(eoEthPortIndex, integer(5), 3008), row(eoEntry, integer(3), 2, 3008), row(eoEntry, integer(9), 3, 3008),
		})
		got := decodeEnergy(r, []inventory.Entity{{Index: 3008, Descr: "port 5"}})
		if len(got) != 1 || got[0].Port != (inventory.PSEIndex{Group: 3, Port: 5}) || got[0].LLDP != 9 || got[0].Name != "port 5" {
			t.Fatalf("%s: %+v", name, got)
		}
		s := "none"
		if p := got[0].Power; p != nil {
			s = fmt.Sprintf("%d mW", *p)
		}
		if got[0].Measured {
			s += " measured"
		}
		if got[0].Supplies {
			s += " supplies"
		}
		if s != c.want {
			t.Errorf("%s: %s, want %s", name, s, c.want)
		}
	}
}

// RFC 4363, PortList: f0000001 holds ports 1 to 4 and 32; what is missing is zero.
func TestPortList(t *testing.T) {
	for in, want := range map[string]string{
		"\xf0\x00\x00\x01": "[1 2 3 4 32]", "\x80": "[1]", "": "[]", "\x00\x00": "[]",
	} {
		if got := fmt.Sprint(portList(octets(in))); got != want {
			t.Errorf("%x: %s, want %s", in, got, want)
		}
	}
	if got := portList(octets(string(make([]byte, 1<<20)) + "\xff")); got != nil {
		t.Errorf("a port beyond 65535: %v", got)
	}
	full := make([]byte, 8192)
	full[8191] = 3 // ports 65535 and 65536
	if got := fmt.Sprint(portList(snmp.ValueOf(snmp.OctetString, full))); got != "[65535]" {
		t.Errorf("at the end: %s", got)
	}
}

// RFC 3417, section 8: bit zero of a BITS is the highest of the first octet.
func TestCapabilities(t *testing.T) {
	for in, want := range map[string]string{
		"\x28": "[bridge router]", "\x28\x00": "[bridge router]", "\x10": "[wlanAccessPoint]", "\x01": "[stationOnly]",
		"\x00\x14": "[]", // the order of the frame (from memory): not guessed at
		"\x80":     "[]", "\x44": "[repeater telephone]", "\x02": "[docsis]", "": "[]",
	} {
		if got := fmt.Sprint(capabilities(octets(in))); got != want {
			t.Errorf("%x: %s, want %s", in, got, want)
		}
	}
}

func TestMACs(t *testing.T) {
	want, err := inventory.ParseMAC("00:00:5e:00:53:01")
	if err != nil {
		t.Fatal(err)
	}
	for in, is := range map[string]bool{
		"\x00\x00\x5e\x00\x53\x01": true, "00005e005301": true, "0000.5e00.5301": true, "00-00-5E-00-53-01": true, "00:00:5e:00:53:01\x00": true,
		"": false, "\x00": false, "\x00\x00\x00\x00\x00\x00": false, "00:00:5e:00:53": false, "not any MAC..": false, "00:00:5e:0g:53:01": false,
	} {
		if got := mac(octets(in)); got != want && is || got.IsValid() && !is {
			t.Errorf("%q: %v", in, got)
		}
	}
	if got := mac(integer(6)); got.IsValid() {
		t.Errorf("from a number: %v", got)
	}
}

func TestSpeed(t *testing.T) {
	u := func(n uint64) *uint64 { return &n }
	for name, c := range map[string]struct {
		low, high *uint64
		want      inventory.BitRate
	}{
		"both":                            {u(math.MaxUint32), u(10000), 10e9},
		"ifHighSpeed goes first":          {u(100e6), u(1000), 1e9},
		"no ifHighSpeed":                  {u(100e6), nil, 100e6},
		"rounded to nothing":              {u(64000), u(0), 64000},
		"RFC 2863: the maximum says more": {u(math.MaxUint32), nil, 0},
		"nonsense in ifHighSpeed":         {u(10e6), u(math.MaxUint32), 10e6},
		"none":                            {nil, nil, 0},
	} {
		if got := speed(c.low, c.high); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
}

// Sizes are signed on the wire (RFC 2790, Integer32).
func TestStorage(t *testing.T) {
	disk := func(unit, size, used int64) rows {
		return rows{
			row(hrStorageType, pointer("1.3.6.1.2.1.25.2.1.4"), 31), row(hrStorageEntry, octets("/srv/video"), 3, 31),
			row(hrStorageEntry, integer(unit), 4, 31), row(hrStorageEntry, integer(size), 5, 31), row(hrStorageEntry, integer(used), 6, 31),
		}
	}
	for name, c := range map[string]struct {
		in         rows
		size, used int64
	}{
		"2 TB, half full":       {disk(4096, 488281250, 244140625), 2e12, 1e12},
		"8 TiB ran over":        {disk(4096, math.MinInt32, 0), 8 << 40, 0},
		"the largest there is":  {disk(math.MaxInt32, -1, 1), math.MaxInt32 * math.MaxUint32, math.MaxInt32},
		"used more than it has": {disk(1024, 10, 11), 10240, 11264},
	} {
		got := decodeStorage(c.in)
		if len(got) != 1 || got[0] != (inventory.Storage{Index: 31, Descr: "/srv/video", Fixed: true, Size: c.size, Used: c.used}) {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got := decodeStorage(disk(0, 10, 5)); got != nil {
		t.Errorf("without a unit: %+v", got)
	}
	large := disk(1, -1, 1)
	large[2].Value = gauge(math.MaxUint32) // of the wrong type besides
	if got := decodeStorage(large); got != nil {
		t.Errorf("more octets than there are numbers: %+v", got)
	}
}

// A few kilobytes of PortLists stand for a great many ports.
func TestVLANsBounded(t *testing.T) {
	full := snmp.ValueOf(snmp.OctetString, slices.Repeat([]byte{0xff}, 8192))
	var r rows
	for id := range uint32(4094) {
		r = append(r, row(dot1qVlanStaticEntry, full, 2, id+1))
	}
	got, whole := decodeVLANs(r)
	members := 0
	for _, v := range got {
		members += len(v.Egress)
	}
	if len(got) != 4094 || whole || members > maxMembers+maxPorts {
		t.Errorf("%d VLANs with %d members, whole %v", len(got), members, whole)
	}
}

func TestIdentifiers(t *testing.T) {
	for name, c := range map[string]struct {
		in           string
		mac, network bool
		want         string
	}{
		"MAC":                      {"\x00\x00\x5e\x00\x53\x01", true, false, "00:00:5e:00:53:01"},
		"MAC in text":              {"00-00-5E-00-53-01", true, false, "00:00:5e:00:53:01"},
		"network address":          {"\x01\xc0\x00\x02\x0a", false, true, "192.0.2.10"},
		"IPv6":                     {"\x02\x20\x01\x0d\xb8\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x01", false, true, "2001:db8::1"},
		"family that does not fit": {"\x02\xc0\x00\x02\x0a", false, true, "02c000020a"},
		"name with a NUL":          {"gi1\x00", false, false, "gi1"},
		"octets that are no words": {"\x00\x00\x5e\x00\x53\xff", false, false, "00005e0053ff"},
		"empty":                    {"", true, true, ""},
	} {
		if got, _ := identifier([]byte(c.in), c.mac, c.network); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// An Opaque holds a float as net-snmp wraps it (from memory): 25.0.
func TestOpaqueFloat(t *testing.T) {
	v := snmp.ValueOf(snmp.Opaque, "\x9f\x78\x04\x41\xc8\x00\x00")
	if n, why := figure(v); n != 25 || why != "" {
		t.Errorf("%g, %s", n, why)
	}
	nan := snmp.ValueOf(snmp.Opaque, "\x9f\x78\x04\x7f\xc0\x00\x00")
	if n, _ := figure(nan); !math.IsNaN(n) {
		t.Errorf("%g", n)
	}
}
