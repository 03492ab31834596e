package dnssd

import (
	"fmt"
	"net"
	"net/netip"
	"reflect"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/multicast"

	"github.com/miekg/dns"
)

var (
	start  = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	camera = netip.MustParseAddr("203.0.113.131")
	link   = []netip.Prefix{netip.MustParsePrefix("203.0.113.5/24")}
)

// answer packs records given in zone file form.
func answer(t testing.TB, records ...string) []byte {
	t.Helper()
	m := dns.Msg{MsgHdr: dns.MsgHdr{Response: true, Authoritative: true}}
	for _, text := range records {
		rr, err := dns.NewRR(text)
		if err != nil {
			t.Fatal(err)
		}
		m.Answer = append(m.Answer, rr)
	}
	b, err := m.Pack()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// flushed sets the cache-flush bit of every answer.
func flushed(t testing.TB, b []byte) []byte {
	t.Helper()
	var m dns.Msg
	if err := m.Unpack(b); err != nil {
		t.Fatal(err)
	}
	for _, rr := range m.Answer {
		rr.Header().Class |= 0x8000
	}
	b, err := m.Pack()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestCollector(t *testing.T) {
	full := []string{
		`_rtsp._tcp.local. 4500 IN PTR Slip\ camera\.\ West._rtsp._tcp.local.`,
		`Slip\ camera\.\ West._rtsp._tcp.local. 120 IN SRV 0 0 554 slip-cam.local.`,
		`Slip\ camera\.\ West._rtsp._tcp.local. 4500 IN TXT "model=dome" "note=\200\"x"`,
		`slip-cam.local. 120 IN A 203.0.113.131`,
		`slip-cam.local. 120 IN AAAA fe80::31`,
	}
	want := []Service{{
		Instance: "Slip camera. West", Type: "_rtsp._tcp", Host: "slip-cam.local", Port: 554, Text: []string{"model=dome", "note=\xc8\"x"},
		Addrs: []netip.Addr{camera, netip.MustParseAddr("fe80::31")}, From: camera, Seen: start,
	}}
	tests := map[string]struct {
		messages [][]byte
		from     netip.Addr
		want     Result
	}{
		"all in one answer":   {[][]byte{answer(t, full...)}, camera, Result{Services: want}},
		"the cache-flush bit": {[][]byte{flushed(t, answer(t, full...))}, camera, Result{Services: want}},
		"one record in each answer": {[][]byte{answer(t, full[4]), answer(t, full[3]), answer(t, full[2]), answer(t, full[1]), answer(t, full[0])},
			camera, Result{Services: want}},
		"names differ in case only": {[][]byte{answer(t, strings.ToUpper(full[0]), full[1])}, camera, Result{Services: []Service{{
			Instance: "SLIP CAMERA. WEST", Type: "_rtsp._tcp", Host: "slip-cam.local", Port: 554, From: camera, Seen: start}}}},
		"a goodbye":                              {[][]byte{answer(t, `_rtsp._tcp.local. 0 IN PTR Slip\ camera._rtsp._tcp.local.`)}, camera, Result{}},
		"an instance of another type than asked": {[][]byte{answer(t, `_rtsp._tcp.local. 9 IN PTR x._http._tcp.local.`)}, camera, Result{}},
		"names of the wider internet":            {[][]byte{answer(t, `_rtsp._tcp.example.com. 9 IN PTR x._rtsp._tcp.example.com.`)}, camera, Result{}},
		"from outside the link":                  {[][]byte{answer(t, full...)}, netip.MustParseAddr("198.51.100.1"), Result{Foreign: 1}},
		"from a network that is only counted":    {[][]byte{answer(t, full...)}, netip.MustParseAddr("203.0.113.250"), Result{Ignored: 1}},
		"a query, garbage, nothing":              {[][]byte{{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, []byte("GET / HTTP/1.1"), {}}, camera, Result{Malformed: 3}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			c := newCollector(link, []netip.Prefix{netip.MustParsePrefix("203.0.113.240/28")}, 100)
			for _, b := range test.messages {
				c.add(b, test.from, start)
			}
			if got := c.result(); !reflect.DeepEqual(got, test.want) {
				t.Errorf("got  %+v\nwant %+v", got, test.want)
			}
		})
	}
}

// What one device says of another's names stays its own claim.
func TestLiar(t *testing.T) {
	c := newCollector(link, nil, 100)
	liar := netip.MustParseAddr("203.0.113.66")
	c.add(answer(t, `cam._rtsp._tcp.local. 120 IN SRV 0 0 554 cam.local.`), camera, start)
	c.add(answer(t, `cam._rtsp._tcp.local. 120 IN SRV 0 0 9 liar.local.`), liar, start)
	got := c.result().Services
	if len(got) != 2 || got[0].From != liar || got[0].Port != 9 || got[1].From != camera || got[1].Host != "cam.local" {
		t.Errorf("got %+v, want both claims apart", got)
	}
}

func TestFlood(t *testing.T) {
	c := newCollector(link, nil, 300)
	for i := range 2000 {
		from := netip.AddrFrom4([4]byte{203, 0, 113, byte(i % 250)})
		c.add(answer(t, fmt.Sprintf(`x%d._http._tcp.local. 120 IN SRV 0 0 80 h.local.`, i)), from, start)
	}
	for i := range 1000 {
		c.add(answer(t, fmt.Sprintf(`_services._dns-sd._udp.local. 120 IN PTR _t%d._tcp.local.`, i)), camera, start)
	}
	got := c.result()
	if len(got.Services) != 300 || got.Overflow < 1700 {
		t.Errorf("%d services, %d overflow; want 300 and what is beyond", len(got.Services), got.Overflow)
	}
	if n := len(c.typeQuestions()); n > mostRecords {
		t.Errorf("%d questions come of it, want at most %d", n, mostRecords)
	}
}

func TestQuestions(t *testing.T) {
	c := newCollector(link, nil, 100)
	c.add(answer(t,
		`_services._dns-sd._udp.local. 9 IN PTR _rtsp._tcp.local.`,
		`_services._dns-sd._udp.local. 9 IN PTR _x._sub._tcp.local.`,
		`_rtsp._tcp.local. 9 IN PTR a._rtsp._tcp.local.`,
		`b._rtsp._tcp.local. 9 IN SRV 0 0 554 b.local.`,
		`b._rtsp._tcp.local. 9 IN TXT ""`,
	), camera, start)
	q := func(name string, kind uint16) dns.Question {
		return dns.Question{Name: name, Qtype: kind, Qclass: dns.ClassINET}
	}
	for name, test := range map[string]struct{ got, want []dns.Question }{
		"types":     {c.typeQuestions(), []dns.Question{q("_rtsp._tcp.local.", dns.TypePTR)}},
		"instances": {c.instanceQuestions(), []dns.Question{q("a._rtsp._tcp.local.", dns.TypeTXT), q("a._rtsp._tcp.local.", dns.TypeSRV)}},
		"hosts":     {c.hostQuestions(), []dns.Question{q("b.local.", dns.TypeA)}},
	} {
		if !reflect.DeepEqual(test.got, test.want) {
			t.Errorf("%s: got %v, want %v", name, test.got, test.want)
		}
	}
}

func TestUnescape(t *testing.T) {
	for in, want := range map[string]string{
		`plain`: "plain", `a\032b`: "a b", `a\.b`: "a.b", `\\`: `\`, `\`: `\`, `\03`: "03", `\195\169`: "é", `\999`: "\xe7",
	} {
		if got := unescape(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

func FuzzAdd(f *testing.F) {
	f.Add(answer(f, `_rtsp._tcp.local. 9 IN PTR a._rtsp._tcp.local.`, `a._rtsp._tcp.local. 9 IN SRV 0 0 554 b.local.`, `b.local. 9 IN A 203.0.113.131`))
	f.Add(flushed(f, answer(f, `a\000\255._http._tcp.local. 9 IN TXT "\000=\010" ""`)))
	f.Add([]byte{0, 0, 0x84, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0xc0, 12, 0, 12, 0, 1, 0, 0, 0, 9, 0, 2, 0xc0, 12}) // a name that points at itself
	f.Fuzz(func(t *testing.T, b []byte) {
		c := newCollector(link, nil, 10)
		c.add(b, camera, start)
		c.add(b, camera, start)
		for _, qs := range [][]dns.Question{c.typeQuestions(), c.instanceQuestions(), c.hostQuestions()} {
			for _, q := range qs {
				if _, err := (&dns.Msg{Question: []dns.Question{q}}).Pack(); err != nil {
					t.Errorf("question %v does not pack: %v", q, err)
				}
			}
		}
		for _, s := range c.result().Services {
			if len(s.Instance) > 63 || len(s.Host) > 255 || !strings.HasPrefix(s.Type, "_") || len(s.Addrs) > mostAddrs {
				t.Errorf("kept %+v", s)
			}
		}
	})
}

// The socket never takes the port of a full implementation.
func TestPort(t *testing.T) {
	conn, within, err := multicast.Open(t.Context(), "lo", timeToLive)
	if err != nil {
		t.Skipf("no loopback: %v", err)
	}
	defer conn.Close()
	if a := conn.LocalAddr().(*net.UDPAddr); a.Port == 5353 || len(within) == 0 || !within[0].Contains(a.AddrPort().Addr()) {
		t.Errorf("bound to %s within %v", a, within)
	}
}
