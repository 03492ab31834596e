package simnet

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"
)

func newTestSession(t testing.TB, opts AgentOptions) *session {
	t.Helper()
	a, err := NewAgent(opts)
	if err != nil {
		t.Fatal(err)
	}
	return a.newSession()
}

func octets(t testing.TB, spaced string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.Join(strings.Fields(spaced), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// ask sends a request under the community "public" and gives the response, nil
// if there was none.
func ask(t testing.TB, s *session, q gosnmp.SnmpPacket, names ...string) *gosnmp.SnmpPacket {
	t.Helper()
	q.Community, q.RequestID = "public", 77
	for _, n := range names {
		q.Variables = append(q.Variables, gosnmp.SnmpPDU{Name: n, Type: gosnmp.Null})
	}
	b, err := q.MarshalMsg()
	if err != nil {
		t.Fatal(err)
	}
	out, _ := s.answer(b)
	if out == nil {
		return nil
	}
	if len(out) > maxMessage {
		t.Fatalf("answer of %d octets", len(out))
	}
	r, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(out)
	if err != nil {
		t.Fatal(err)
	}
	if r.Version != q.Version || r.PDUType != gosnmp.GetResponse || r.RequestID != 77 || r.Community != "public" {
		t.Fatalf("envelope of response: %+v", r)
	}
	return r
}

// said is a response in one line: its error, then each binding.
func said(r *gosnmp.SnmpPacket) string {
	if r == nil {
		return "silence"
	}
	var w []string
	if r.Error != gosnmp.NoError {
		w = append(w, fmt.Sprintf("%v at %d", r.Error, r.ErrorIndex))
	}
	for _, v := range r.Variables {
		switch c := v.Value.(type) {
		case nil:
			w = append(w, fmt.Sprintf("%s:%v", v.Name, v.Type))
		case []byte:
			w = append(w, fmt.Sprintf("%s=%x", v.Name, c))
		default:
			w = append(w, fmt.Sprintf("%s=%v", v.Name, c))
		}
	}
	return strings.Join(w, " ")
}

// Source: message encodings worked out from X.690 and RFC 3416, section 3.
func TestWholeMessages(t *testing.T) {
	get := octets(t, `30 26 02 01 01 04 06 70 75 62 6c 69 63 a0 19 02 01 01 02 01 00 02 01 00
		30 0e 30 0c 06 08 2b 06 01 02 01 01 03 00 05 00`)
	for _, c := range []struct {
		name string
		row  Row
		want string
	}{
		{"TimeTicks 123456", Row{"1.3.6.1.2.1.1.3.0", TimeTicks(123456)}, `30 29 02 01 01 04 06 70 75 62 6c 69 63 a2 1c 02 01 01 02 01 00 02 01 00
			30 11 30 0f 06 08 2b 06 01 02 01 01 03 00 43 03 01 e2 40`},
		{"noSuchInstance", Row{"1.3.6.1.2.1.1.3.9", TimeTicks(1)}, `30 26 02 01 01 04 06 70 75 62 6c 69 63 a2 19 02 01 01 02 01 00 02 01 00
			30 0e 30 0c 06 08 2b 06 01 02 01 01 03 00 81 00`},
	} {
		s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: []Row{c.row}})
		got, _ := s.answer(slices.Clone(get))
		if want := octets(t, c.want); !slices.Equal(got, want) {
			t.Errorf("%s:\n got % x\nwant % x", c.name, got, want)
		}
	}
}

// arpTable is the table of the examples in RFC 3416, 4.2.2.1 and 4.2.3.1.
func arpTable() []Row {
	rows := []Row{
		{"1.3.6.1.2.1.1.3.0", TimeTicks(123456)},
		{"1.3.6.1.2.1.4.23.0", Counter32(2)}, // ipRoutingDiscards
	}
	for _, e := range []struct {
		index string
		ip    [4]byte
		mac   string
		kind  int32
	}{
		{"1.10.0.0.51", [4]byte{10, 0, 0, 51}, "\x00\x00\x10\x01\x23\x45", 4},
		{"1.9.2.3.4", [4]byte{9, 2, 3, 4}, "\x00\x00\x10\x54\x32\x10", 3},
		{"2.10.0.0.15", [4]byte{10, 0, 0, 15}, "\x00\x00\x10\x98\x76\x54", 3},
	} {
		const entry = "1.3.6.1.2.1.4.22.1." // ipNetToMediaEntry
		rows = append(rows, Row{entry + "2." + e.index, Text(e.mac)}, Row{entry + "3." + e.index, IPAddress(e.ip)}, Row{entry + "4." + e.index, Integer(e.kind)})
	}
	return rows
}

// Source: RFC 3416, 4.2.2.1. Its sysUpTime rises from step to step; here it rests.
func TestGetNextWalksTheExampleTable(t *testing.T) {
	s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: arpTable()})
	at := []string{".1.3.6.1.2.1.1.3", ".1.3.6.1.2.1.4.22.1.2", ".1.3.6.1.2.1.4.22.1.4"}
	for i, want := range []string{
		".1.3.6.1.2.1.1.3.0=123456 .1.3.6.1.2.1.4.22.1.2.1.9.2.3.4=000010543210 .1.3.6.1.2.1.4.22.1.4.1.9.2.3.4=3",
		".1.3.6.1.2.1.1.3.0=123456 .1.3.6.1.2.1.4.22.1.2.1.10.0.0.51=000010012345 .1.3.6.1.2.1.4.22.1.4.1.10.0.0.51=4",
		".1.3.6.1.2.1.1.3.0=123456 .1.3.6.1.2.1.4.22.1.2.2.10.0.0.15=000010987654 .1.3.6.1.2.1.4.22.1.4.2.10.0.0.15=3",
		".1.3.6.1.2.1.1.3.0=123456 .1.3.6.1.2.1.4.22.1.3.1.9.2.3.4=9.2.3.4 .1.3.6.1.2.1.4.23.0=2",
	} {
		r := ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetNextRequest}, at...)
		if got := said(r); got != want {
			t.Fatalf("step %d:\n got %s\nwant %s", i+1, got, want)
		}
		at = []string{at[0], r.Variables[1].Name, r.Variables[2].Name}
	}
}

// Source: RFC 3416, 4.2.3.1, which needs two requests for the same walk; the
// first one's PDU is the one whose octets RFC 3417, 8.1 prints for another
// request ID, with a length that is longer than it need be.
func TestGetBulkWalksTheExampleTable(t *testing.T) {
	s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: arpTable()})
	pdu := octets(t, `a5 82 00 39 02 04 54 52 5d 76 02 01 01 02 01 02 30 2b 30 0b 06 07 2b 06 01 02 01 01 03 05 00
		30 0d 06 09 2b 06 01 02 01 04 16 01 02 05 00 30 0d 06 09 2b 06 01 02 01 04 16 01 04 05 00`)
	out, _ := s.answer(append(octets(t, "30 48 02 01 01 04 06 70 75 62 6c 69 63"), pdu...))
	r, err := s.open.SnmpDecodePacket(out)
	if err != nil || r.RequestID != 1414684022 {
		t.Fatalf("%v, request ID %d", err, r.RequestID)
	}
	if got, want := said(r), ".1.3.6.1.2.1.1.3.0=123456 "+
		".1.3.6.1.2.1.4.22.1.2.1.9.2.3.4=000010543210 .1.3.6.1.2.1.4.22.1.4.1.9.2.3.4=3 "+
		".1.3.6.1.2.1.4.22.1.2.1.10.0.0.51=000010012345 .1.3.6.1.2.1.4.22.1.4.1.10.0.0.51=4"; got != want {
		t.Errorf("first:\n got %s\nwant %s", got, want)
	}
	q := gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetBulkRequest, NonRepeaters: 1, MaxRepetitions: 2}
	r = ask(t, s, q, ".1.3.6.1.2.1.1.3", ".1.3.6.1.2.1.4.22.1.2.1.10.0.0.51", ".1.3.6.1.2.1.4.22.1.4.1.10.0.0.51")
	if got, want := said(r), ".1.3.6.1.2.1.1.3.0=123456 "+
		".1.3.6.1.2.1.4.22.1.2.2.10.0.0.15=000010987654 .1.3.6.1.2.1.4.22.1.4.2.10.0.0.15=3 "+
		".1.3.6.1.2.1.4.22.1.3.1.9.2.3.4=9.2.3.4 .1.3.6.1.2.1.4.23.0=2"; got != want {
		t.Errorf("second:\n got %s\nwant %s", got, want)
	}
}

// Source: RFC 3416, 4.2.1 to 4.2.3 and 4.2.5; RFC 1157, 4.1.2, 4.1.3; RFC 3584, 4.2.2.1.
func TestAnswers(t *testing.T) {
	rows := []Row{
		{"1.3.6.1.2.1.1.5.0", Text("a")},
		{"1.3.6.1.2.1.2.2.1.7.1", Integer(1)},
		{"1.3.6.1.2.1.2.2.1.7.2", Integer(2)},
		{"1.3.6.1.2.1.31.1.1.1.6.1", Counter64(1 << 40)},
		{"1.3.6.1.2.1.31.1.1.1.6.2", Counter64(2)},
		{"1.3.6.1.2.1.31.1.1.1.15.1", Gauge32(1000)},
	}
	const (
		v1, v2c    = gosnmp.Version1, gosnmp.Version2c
		get, next  = gosnmp.GetRequest, gosnmp.GetNextRequest
		bulk, set  = gosnmp.GetBulkRequest, gosnmp.SetRequest
		name, last = ".1.3.6.1.2.1.1.5.0", ".1.3.6.1.2.1.31.1.1.1.15.1"
	)
	for _, c := range []struct {
		name  string
		q     gosnmp.SnmpPacket
		asked []string
		want  string
	}{
		{"get", gosnmp.SnmpPacket{Version: v2c, PDUType: get}, []string{name}, name + "=61"},
		{"get nothing", gosnmp.SnmpPacket{Version: v2c, PDUType: get}, nil, ""},
		{"get an object that is not there", gosnmp.SnmpPacket{Version: v2c, PDUType: get}, []string{".1.3.6.1.2.1.1.6.0"}, ".1.3.6.1.2.1.1.6.0:NoSuchObject"},
		{"get a row that is not there", gosnmp.SnmpPacket{Version: v2c, PDUType: get}, []string{name, ".1.3.6.1.2.1.2.2.1.7.3"}, name + "=61 .1.3.6.1.2.1.2.2.1.7.3:NoSuchInstance"},
		{"v1 get names the first that is not there", gosnmp.SnmpPacket{Version: v1, PDUType: get}, []string{name, ".1.3.6.1.2.1.2.2.1.7.3", ".1.3"}, "NoSuchName at 2 " + name + ":Null .1.3.6.1.2.1.2.2.1.7.3:Null .1.3:Null"},
		{"v1 get has no Counter64", gosnmp.SnmpPacket{Version: v1, PDUType: get}, []string{".1.3.6.1.2.1.31.1.1.1.6.1"}, "NoSuchName at 1 .1.3.6.1.2.1.31.1.1.1.6.1:Null"},
		{"v1 next passes over Counter64", gosnmp.SnmpPacket{Version: v1, PDUType: next}, []string{".1.3.6.1.2.1.2.2.1.7.2"}, last + "=1000"},
		{"v1 next at the end", gosnmp.SnmpPacket{Version: v1, PDUType: next}, []string{name, last}, "NoSuchName at 2 " + name + ":Null " + last + ":Null"},
		{"v2c next at the end echoes the name", gosnmp.SnmpPacket{Version: v2c, PDUType: next}, []string{".2.5"}, ".2.5:EndOfMibView"},
		{"next from before all", gosnmp.SnmpPacket{Version: v2c, PDUType: next}, []string{".0.0"}, name + "=61"},
		{"bulk of no repetition", gosnmp.SnmpPacket{Version: v2c, PDUType: bulk}, []string{name}, ""},
		{"bulk with more non-repeaters than names", gosnmp.SnmpPacket{Version: v2c, PDUType: bulk, NonRepeaters: 9, MaxRepetitions: 9}, []string{name}, ".1.3.6.1.2.1.2.2.1.7.1=1"},
		{"bulk stops when all have ended", gosnmp.SnmpPacket{Version: v2c, PDUType: bulk, MaxRepetitions: 1<<31 - 1}, []string{".1.3.6.1.2.1.31.1.1.1.6.2", last}, last + "=1000 " + last + ":EndOfMibView " + last + ":EndOfMibView " + last + ":EndOfMibView"},
		{"bulk of nothing, for ever", gosnmp.SnmpPacket{Version: v2c, PDUType: bulk, MaxRepetitions: 1<<31 - 1}, nil, ""},
		{"v1 has no bulk", gosnmp.SnmpPacket{Version: v1, PDUType: bulk, MaxRepetitions: 1}, []string{name}, "silence"},
		{"set", gosnmp.SnmpPacket{Version: v2c, PDUType: set, Variables: []gosnmp.SnmpPDU{{Name: name, Type: gosnmp.Integer, Value: 3}}}, nil, "NotWritable at 1 " + name + "=3"},
		{"v1 set", gosnmp.SnmpPacket{Version: v1, PDUType: set, Variables: []gosnmp.SnmpPDU{{Name: name, Type: gosnmp.Integer, Value: 3}}}, nil, "ReadOnly at 1 " + name + "=3"},
		{"set nothing", gosnmp.SnmpPacket{Version: v2c, PDUType: set}, nil, "NotWritable at 0"},
		{"no request", gosnmp.SnmpPacket{Version: v2c, PDUType: gosnmp.GetResponse}, []string{name}, "silence"},
		{"no version", gosnmp.SnmpPacket{Version: 2, PDUType: get}, []string{name}, "silence"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: rows})
			if got := said(ask(t, s, c.q, c.asked...)); got != c.want {
				t.Errorf("\n got %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestStrangersAreNotAnswered(t *testing.T) {
	s := newTestSession(t, AgentOptions{Communities: []string{"yard", "mast"}, Rows: arpTable()})
	if r := ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.SetRequest}, "1.3"); r != nil {
		t.Errorf("answer %s", said(r))
	}
	c := s.Counts()
	if c.Strangers != 1 || c.Set != 1 || c.Communities["public"] != 1 {
		t.Errorf("counts %+v", c)
	}
}

// Source: RFC 3416, 4.2.1 to 4.2.3: what does not fit is tooBig, a GETBULK is
// cut; RFC 1157, 4.1.2: version 1 sends the request's bindings back.
func TestTooLarge(t *testing.T) {
	rows := []Row{{"1.3.6.1.2.1.1.1.0", Text("small")}}
	for i := range 40 {
		rows = append(rows, Row{fmt.Sprintf("1.3.6.1.2.1.2.2.1.2.%d", i*50), Octets(make([]byte, 60+i))})
	}
	rows = append(rows, Row{"1.3.6.1.2.1.47.1.1.0", Octets(make([]byte, maxMessage))})
	s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: rows})
	const huge = ".1.3.6.1.2.1.47.1.1.0"

	r := ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetRequest}, huge)
	if got := said(r); got != "TooBig at 0" {
		t.Errorf("get: %s", got)
	}
	r = ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version1, PDUType: gosnmp.GetNextRequest}, ".1.3.6.1.2.1.47")
	if got := said(r); got != "TooBig at 0 .1.3.6.1.2.1.47:Null" {
		t.Errorf("v1 next: %s", got)
	}
	r = ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetBulkRequest, MaxRepetitions: 5}, ".1.3.6.1.2.1.47")
	if got := said(r); got != "" {
		t.Errorf("bulk of what never fits: %s, want no rows and no error", got)
	}
	manyNames := slices.Repeat([]string{".1.3.6.1.2.1.1.1.0"}, 110)
	if r := ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version1, PDUType: gosnmp.GetRequest}, manyNames...); r != nil {
		t.Errorf("v1 request that is too large to send back: %s", said(r))
	}
}

// A GETBULK carries as many rows as fit: one more would be over the limit.
func TestBulkIsCutAtTheLimit(t *testing.T) {
	for width := range 140 {
		var rows []Row
		for i := range 250 {
			rows = append(rows, Row{fmt.Sprintf("1.3.6.1.2.1.2.2.1.2.%d", i+1), Octets(make([]byte, width))})
		}
		s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: rows})
		q := gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetBulkRequest, MaxRepetitions: 250}
		r := ask(t, s, q, ".1.3.6.1.2.1.2.2.1.2")
		n := len(r.Variables)
		if n == 0 || n == len(rows) {
			t.Fatalf("width %d: %d rows", width, n)
		}
		r.Variables = append(r.Variables, gosnmp.SnmpPDU{Name: rows[n].OID, Type: gosnmp.OctetString, Value: make([]byte, width)})
		longer, err := r.MarshalMsg()
		if err != nil {
			t.Fatal(err)
		}
		if len(longer) <= maxMessage {
			t.Fatalf("width %d: %d rows, but one more makes %d octets", width, n, len(longer))
		}
	}
}

// The arithmetic of sizes agrees with the encoder.
func TestBindSizes(t *testing.T) {
	rows := []Row{
		{"0.0", Integer(0)}, {"1.39", Integer(127)}, {"2.100.3", Integer(128)}, {"2.999.4294967295", Integer(-128)},
		{"1.3.6.1.4294967295", Integer(-129)}, {"1.3.127.128", Integer(-1 << 31)}, {"1.3.16383.16384", Integer(1<<31 - 1)},
		{"1.3.1", Text("")}, {"1.3.2", Octets(make([]byte, 110))}, {"1.3.3", Octets(make([]byte, 127))}, {"1.3.4", Octets(make([]byte, 128))},
		{"1.3.5", Octets(make([]byte, 245))}, {"1.3.6", Octets(make([]byte, 256))}, {"1.3.7", Octets(make([]byte, 1300))},
		{"1.3.8", OID("2.100.3")}, {"1.3.9", OID("1.3.6.1.4294967295")}, {"1.3.10", IPAddress([4]byte{203, 0, 113, 2})},
		{"1.3.11", Counter32(0)}, {"1.3.12", Counter32(127)}, {"1.3.13", Gauge32(128)}, {"1.3.14", Gauge32(1<<32 - 1)}, {"1.3.15", TimeTicks(1 << 23)},
		{"1.3.16", Counter64(0)}, {"1.3.17", Counter64(1<<64 - 1)}, {"1.3.18", Counter64(1 << 55)}, {"1.3.19", Value{}},
		{"1.3.20", Value{kind: gosnmp.EndOfMibView}},
	}
	for _, r := range rows {
		p, err := r.parse()
		if err != nil {
			t.Fatal(err)
		}
		b := bind{p.oid, p.value.at(0)}
		got, err := (&gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetResponse, Variables: []gosnmp.SnmpPDU{b.pdu()}}).MarshalMsg()
		if err != nil {
			t.Fatalf("%s: %v", r.OID, err)
		}
		// A message holds version and community (5 octets) and a PDU, that three
		// integers (9) and the list of bindings.
		if want := tlvSize(5 + tlvSize(9+tlvSize(b.size()))); len(got) != want {
			t.Errorf("%s %v: %d octets, by arithmetic %d", r.OID, p.value.kind, len(got), want)
		}
	}
}
