package lease

import (
	"encoding/binary"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/insomniacslk/dhcp/dhcpv4"
	"golang.org/x/net/bpf"
)

func FuzzParse(f *testing.F) {
	files, err := filepath.Glob("testdata/*.*")
	if err != nil || len(files) != 4 {
		f.Fatalf("testdata has %v, %v", files, err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("1 00:00:5e:00:53:31 203.0.113.70 a *\nduid 00:01\n"))
	f.Add([]byte("lease 203.0.113.70 { ends never; binding state active; uid \"\\0"))
	f.Fuzz(func(t *testing.T, b []byte) {
		r := parse(b, 5)
		if len(r.Leases) > 5 || r.End == "" {
			t.Errorf("%d leases, ended %q", len(r.Leases), r.End)
		}
		for _, l := range r.Leases {
			if !l.Addr.IsValid() || len(l.Name) > longestName {
				t.Errorf("kept %+v", l)
			}
		}
	})
}

var ours = [6]byte{0, 0, 0x5e, 0, 0x53, 0xfe}

func discovery(t testing.TB) *dhcpv4.DHCPv4 {
	t.Helper()
	d, err := dhcpv4.NewDiscovery(ours[:], dhcpv4.WithTransactionID(dhcpv4.TransactionID{1, 2, 3, 4}))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// offerPacket is an IPv4 packet with an offer (RFC 2131) for our discovery.
func offerPacket(t testing.TB, change ...dhcpv4.Modifier) []byte {
	t.Helper()
	m, err := dhcpv4.NewReplyFromRequest(discovery(t), append([]dhcpv4.Modifier{
		dhcpv4.WithMessageType(dhcpv4.MessageTypeOffer),
		dhcpv4.WithYourIP([]byte{203, 0, 113, 77}),
		dhcpv4.WithNetmask([]byte{255, 255, 255, 128}),
		dhcpv4.WithOption(dhcpv4.OptServerIdentifier([]byte{203, 0, 113, 66})),
		dhcpv4.WithRouter([]byte{203, 0, 113, 66}, []byte{203, 0, 113, 67}),
		dhcpv4.WithDNS([]byte{203, 0, 113, 68}),
		dhcpv4.WithOption(dhcpv4.OptDomainName("tern-quay.example")),
		dhcpv4.WithLeaseTime(600),
	}, change...)...)
	if err != nil {
		t.Fatal(err)
	}
	return datagram(m.ToBytes())
}

// datagram puts IPv4 and UDP headers (RFC 791, RFC 768) before a payload to the
// client port.
func datagram(payload []byte) []byte {
	b := []byte{0x45, 0, 0, 0, 0, 0, 0, 0, 64, 17, 0, 0, 203, 0, 113, 65, 255, 255, 255, 255, 0, 67, 0, 68, 0, 0, 0, 0}
	b = append(b, payload...)
	binary.BigEndian.PutUint16(b[2:], uint16(len(b)))
	binary.BigEndian.PutUint16(b[24:], uint16(len(b)-20))
	return b
}

func TestParseOffer(t *testing.T) {
	a := netip.MustParseAddr
	want := Offer{Server: a("203.0.113.66"), Addr: a("203.0.113.77"), Prefix: netip.MustParsePrefix("203.0.113.0/25"),
		Router: []netip.Addr{a("203.0.113.66"), a("203.0.113.67")}, DNS: []netip.Addr{a("203.0.113.68")}, Domain: "tern-quay.example", Time: 10 * time.Minute}
	bare := Offer{Server: a("203.0.113.65"), Addr: a("203.0.113.77")}
	tests := map[string]struct {
		packet []byte
		want   Offer
		bad    bool
	}{
		"an offer": {packet: offerPacket(t), want: want},
		"without options the server is the sender": {packet: offerPacket(t, func(d *dhcpv4.DHCPv4) {
			d.Options = dhcpv4.OptionsFromList(dhcpv4.OptMessageType(dhcpv4.MessageTypeOffer))
		}), want: bare},
		"another's transaction":  {packet: offerPacket(t, dhcpv4.WithTransactionID(dhcpv4.TransactionID{9})), bad: true},
		"another's MAC":          {packet: offerPacket(t, dhcpv4.WithHwAddr([]byte{0, 0, 0x5e, 0, 0x53, 1})), bad: true},
		"a lease, not an offer":  {packet: offerPacket(t, dhcpv4.WithMessageType(dhcpv4.MessageTypeAck)), bad: true},
		"no address":             {packet: offerPacket(t, dhcpv4.WithYourIP([]byte{0, 0, 0, 0})), bad: true},
		"cut in the header":      {packet: offerPacket(t)[:10], bad: true},
		"cut in the UDP header":  {packet: offerPacket(t)[:25], bad: true},
		"cut in the message":     {packet: offerPacket(t)[:100], bad: true},
		"a header of 60 octets":  {packet: append([]byte{0x4f}, offerPacket(t)[1:30]...), bad: true},
		"nothing":                {bad: true},
		"a payload of no octets": {packet: datagram(nil), bad: true},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := parseOffer(test.packet, discovery(t))
			if (err != nil) != test.bad || !reflect.DeepEqual(got, test.want) {
				t.Errorf("got  %+v, %v\nwant %+v, an error: %v", got, err, test.want, test.bad)
			}
		})
	}
}

func TestOfferFilter(t *testing.T) {
	vm, err := bpf.NewVM(offerFilter())
	if err != nil {
		t.Fatal(err)
	}
	set := func(at int, to byte) []byte {
		b := datagram([]byte("x"))
		b[at] = to
		return b
	}
	long := append([]byte{0x46}, datagram(nil)[1:20]...)
	long = append(append(long, 0, 0, 0, 0), datagram(nil)[20:]...)
	for name, test := range map[string]struct {
		packet []byte
		pass   bool
	}{
		"to the client port":          {datagram([]byte("x")), true},
		"with IP options":             {long, true},
		"to another port":             {set(23, 69), false},
		"TCP":                         {set(9, 6), false},
		"a fragment behind the first": {set(7, 1), false},
		"cut":                         {datagram(nil)[:21], false},
	} {
		n, err := vm.Run(test.packet)
		if err != nil || (n > 0) != test.pass {
			t.Errorf("%s: %d octets pass, %v; want them to: %v", name, n, err, test.pass)
		}
	}
}

func FuzzParseOffer(f *testing.F) {
	d := discovery(f)
	f.Add(offerPacket(f))
	f.Add(datagram(nil))
	f.Add([]byte{0x4f})
	f.Fuzz(func(t *testing.T, b []byte) {
		o, err := parseOffer(b, d)
		if err == nil && (!o.Addr.Is4() || !o.Server.IsValid() || len(o.Router) > mostAddrs || len(o.Domain) > longestName) {
			t.Errorf("took %+v", o)
		}
	})
}
