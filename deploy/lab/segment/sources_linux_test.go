package segment

import (
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strings"
	"testing"

	"github.com/insomniacslk/dhcp/dhcpv4"
	"github.com/insomniacslk/dhcp/dhcpv4/nclient4"

	"boundwalk/deploy/lab/netns"
)

// takeLease gets a host an address from whoever offers one first, and sets it.
func (s *segment) takeLease(h *netns.Namespace, mac, name string) netip.Addr {
	s.t.Helper()
	hw, err := net.ParseMAC(mac)
	if err != nil {
		s.t.Fatal(err)
	}
	var lease *nclient4.Lease
	h.Do(func() {
		var c *nclient4.Client
		if c, err = nclient4.New("eth0", nclient4.WithHWAddr(hw)); err != nil {
			return
		}
		defer c.Close()
		lease, err = c.Request(s.t.Context(), dhcpv4.WithBroadcast(true), dhcpv4.WithOption(dhcpv4.OptHostName(name)))
	})
	if err != nil {
		s.t.Fatalf("%s asks for a lease: %v", name, err)
	}
	addr, _ := netip.AddrFromSlice(lease.ACK.YourIPAddr.To4())
	ones, _ := lease.ACK.SubnetMask().Size()
	h.Address("eth0", netip.PrefixFrom(addr, ones))
	return addr
}

// camera answers WS-Discovery as a camera does: in the namespaces of April 2005,
// to the question whose message id it repeats.
func camera(t *testing.T, h *netns.Namespace, hardware string) {
	t.Helper()
	h.Respond("eth0", netip.MustParseAddrPort("239.255.255.250:3702"), func(question string) []string {
		_, id, _ := strings.Cut(question, "MessageID>")
		id, _, _ = strings.Cut(id, "<")
		return []string{fmt.Sprintf(probeMatch, id, hardware)}
	})
}

const probeMatch = `<?xml version="1.0" encoding="UTF-8"?><e:Envelope xmlns:e="http://www.w3.org/2003/05/soap-envelope"
 xmlns:w="http://schemas.xmlsoap.org/ws/2004/08/addressing" xmlns:d="http://schemas.xmlsoap.org/ws/2005/04/discovery" xmlns:dn="http://www.onvif.org/ver10/network/wsdl">
<e:Header><w:MessageID>uuid:1</w:MessageID><w:RelatesTo>%s</w:RelatesTo><w:To>http://schemas.xmlsoap.org/ws/2004/08/addressing/role/anonymous</w:To>
<w:Action>http://schemas.xmlsoap.org/ws/2005/04/discovery/ProbeMatches</w:Action></e:Header>
<e:Body><d:ProbeMatches><d:ProbeMatch><w:EndpointReference><w:Address>urn:uuid:00000000-0000-1000-8000-00005e005331</w:Address></w:EndpointReference>
<d:Types>dn:NetworkVideoTransmitter</d:Types><d:Scopes>onvif://www.onvif.org/hardware/%s onvif://www.onvif.org/name/slip</d:Scopes>
<d:XAddrs>http://203.0.113.31/onvif/device_service</d:XAddrs><d:MetadataVersion>1</d:MetadataVersion></d:ProbeMatch></d:ProbeMatches></e:Body></e:Envelope>`

const sourcesPlan = `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/25, gateway: 203.0.113.1, dynamic: 203.0.113.64-203.0.113.90, subnet6: "2001:db8:10::/64"}
sources: {leases: {path: %q, format: dnsmasq}}
devices:
  quay-router: {role: router, mac: "00:00:5e:00:53:01", address: 203.0.113.1}
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
  gate-cam: {role: camera, mac: "00:00:5e:00:53:32", address: 203.0.113.32}
`

// Everything that a wire tells of who is on it comes together: each device is one
// line with its addresses of both families, and its name, role and model from
// whoever knows them. The kernels of the hosts and the DHCP server's own file
// are the oracle.
func TestEverySourceTells(t *testing.T) {
	s := newSegment(t)
	router := s.plug("00:00:5e:00:53:01", "203.0.113.1/25", "2001:db8:10::1/64")
	router.Exec("sysctl", "-qw", "net.ipv6.conf.all.forwarding=1")
	leases, _ := s.serveDHCP(router, "rightful", "--enable-ra", "--dhcp-range=203.0.113.64,203.0.113.90,255.255.255.128,1h",
		"--dhcp-range=2001:db8:10::,ra-only,64", "--domain=ternquay.example", "--local=/113.0.203.in-addr.arpa/", "--host-record=gate-cam.ternquay.example,203.0.113.32")
	gate := s.plug("00:00:5e:00:53:32", "203.0.113.32/25")
	slip := s.plug("00:00:5e:00:53:31", "203.0.113.31/25")
	printer := s.plug("00:00:5e:00:53:12", "203.0.113.12/25")
	many := s.plug("00:00:5e:00:53:44", "203.0.113.44/25", "203.0.113.45/25", "203.0.113.46/25")
	laptop := s.plug("00:00:5e:00:53:61")
	s.plug("02:00:5e:00:53:71", "203.0.113.71/25")
	s.plug("02:00:5e:00:53:72", "203.0.113.72/25")
	s.announce(printer, "tern-printer", "_ipp._tcp", 631)
	camera(t, slip, "Fairlead-Dome")
	lease := s.takeLease(laptop, "00:00:5e:00:53:61", "tern-laptop")
	v6 := map[string]string{"quay-router": "2001:db8:10::1", "gate-cam": learned6(t, gate), "00:00:5e:00:53:31": learned6(t, slip),
		"00:00:5e:00:53:44": learned6(t, many), "00:00:5e:00:53:61": learned6(t, laptop)}
	s.Write("plan.yaml", fmt.Sprintf(sourcesPlan, leases))

	r := s.Run()
	want := []string{"unknown-device/00:00:5e:00:53:12", "unknown-device/00:00:5e:00:53:31", "unknown-device/00:00:5e:00:53:44", "unknown-device/00:00:5e:00:53:61"}
	if got := r.Keys(); !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	if f := r.Finding("changing-mac-devices/yard"); !strings.Contains(f.Observed, "2") {
		t.Errorf("the phones are %+v, want them counted", f)
	}
	devs := s.Devices()
	for name, addr := range v6 {
		if !slices.Contains(devs[name].Addresses, addr) {
			t.Errorf("%s has the addresses %v, its kernel says %s", name, devs[name].Addresses, addr)
		}
	}
	for name, want := range map[string][]string{"gate-cam": {"203.0.113.32"}, "00:00:5e:00:53:44": {"203.0.113.44", "203.0.113.45", "203.0.113.46"}, "00:00:5e:00:53:61": {lease.String()}} {
		for _, addr := range want {
			if !slices.Contains(devs[name].Addresses, addr) {
				t.Errorf("%s has the addresses %v, want %v among them", name, devs[name].Addresses, want)
			}
		}
	}
	if d := devs["00:00:5e:00:53:61"]; d.Hostname != "tern-laptop.ternquay.example" || !strings.Contains(read(t, leases), "00:00:5e:00:53:61 "+lease.String()+" tern-laptop") {
		t.Errorf("who took the lease is %+v; the server's file says %q", d, read(t, leases))
	}
	if d := devs["00:00:5e:00:53:12"]; d.Role != "printer" || !strings.HasPrefix(d.Hostname, "tern-printer") || !slices.Contains(d.RoleWhy, "announces _ipp._tcp") {
		t.Errorf("the printer is %+v", d)
	}
	if d := devs["00:00:5e:00:53:31"]; d.Role != "camera" || d.Model != "Fairlead-Dome" {
		t.Errorf("the camera that answers WS-Discovery is %+v", d)
	}
	if d := devs["gate-cam"]; !strings.HasPrefix(d.Hostname, "gate-cam.ternquay.example") {
		t.Errorf("reverse DNS calls the planned camera %q", d.Hostname)
	}
	for _, mac := range []string{"02:00:5e:00:53:71", "02:00:5e:00:53:72"} {
		if d := devs[mac]; d.Vendor != "" {
			t.Errorf("%s has the maker %q, and nobody assigned its address", mac, d.Vendor)
		}
	}
	for _, source := range []string{"arp", "ndp", "mdns", "ws-discovery", "dns"} {
		if got := r.Looked("yard", source); !strings.HasPrefix(got, "complete") {
			t.Errorf("%s ended %q", source, got)
		}
	}
}
