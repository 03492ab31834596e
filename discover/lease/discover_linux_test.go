package lease_test

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/insomniacslk/dhcp/dhcpv4"
	"github.com/insomniacslk/dhcp/dhcpv4/nclient4"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/lease"
)

// startDnsmasq runs Debian's dnsmasq as a DHCP server of 203.0.113.0/24, and
// returns its lease file.
func startDnsmasq(t *testing.T, in *netns.Namespace, address, pool string) string {
	t.Helper()
	netns.Need(t, "dnsmasq")
	in.Address("eth0", netip.MustParsePrefix(address+"/24"))
	file := filepath.Join(t.TempDir(), "leases")
	in.Start("dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--port=0", "--user=root", "--pid-file=", "--no-ping",
		"--interface=eth0", "--dhcp-range="+pool+",255.255.255.0,10m", "--dhcp-leasefile="+file, "--dhcp-authoritative")
	return file
}

func discover(t *testing.T, ctx context.Context, in *netns.Namespace, window time.Duration) lease.DiscoverResult {
	t.Helper()
	var r lease.DiscoverResult
	in.Do(func() { r = lease.Discover(ctx, "eth0", lease.DiscoverOptions{Window: window}) })
	return r
}

// A rightful and a rogue server both show (FC-22), and neither gives a lease.
// Then a real client takes one, and the file that dnsmasq writes is read.
func TestDiscoverAndRead(t *testing.T) {
	t.Parallel()
	hub, auditor := netns.New(t), netns.New(t)
	rightful, rogue := netns.New(t), netns.New(t)
	for i, n := range []*netns.Namespace{auditor, rightful, rogue} {
		netns.Veth(hub, fmt.Sprintf("p%d", i), n, "eth0")
		n.MAC("eth0", fmt.Sprintf("00:00:5e:00:53:%02x", i+1))
	}
	hub.Bridge("br0", "p0", "p1", "p2")
	file := startDnsmasq(t, rightful, "203.0.113.1", "203.0.113.64,203.0.113.120")
	rogueFile := startDnsmasq(t, rogue, "203.0.113.66", "203.0.113.200,203.0.113.220")

	var got lease.DiscoverResult
	for range 20 { // they are not up at once
		if got = discover(t, t.Context(), auditor, time.Second); len(got.Offers) == 2 {
			break
		}
	}
	if len(got.Offers) != 2 || got.End != "complete" || got.Sent != 1 || got.Malformed != 0 {
		t.Fatalf("got %+v", got)
	}
	for i, server := range []string{"203.0.113.1", "203.0.113.66"} {
		o := got.Offers[i]
		if o.Server.String() != server || o.MAC != mac(byte(i+2)) || o.Prefix.String() != "203.0.113.0/24" ||
			!slices.Equal(o.Router, []netip.Addr{o.Server}) || o.Time != 10*time.Minute || o.Seen.IsZero() {
			t.Errorf("offer %+v", o)
		}
	}
	for _, f := range []string{file, rogueFile} {
		if r := lease.Read(f, lease.Options{}); len(r.Leases) != 0 || r.End != "complete" {
			t.Errorf("after the discover %s holds %+v, %s %s", f, r.Leases, r.End, r.Why)
		}
	}

	rogue.Exec("ip", "link", "set", "eth0", "down")
	hw := net.HardwareAddr{0, 0, 0x5e, 0, 0x53, 0x31}
	var err error
	auditor.Do(func() {
		var c *nclient4.Client
		if c, err = nclient4.New("eth0", nclient4.WithHWAddr(hw)); err != nil {
			return
		}
		defer c.Close()
		_, err = c.Request(t.Context(), dhcpv4.WithBroadcast(true), dhcpv4.WithOption(dhcpv4.OptHostName("slip-cam")))
	})
	if err != nil {
		t.Fatal(err)
	}
	r := lease.Read(file, lease.Options{})
	if r.Server != "dnsmasq" || len(r.Leases) != 1 || r.End != "complete" {
		t.Fatalf("read %+v", r)
	}
	l := r.Leases[0]
	if l.MAC != mac(0x31) || l.Name != "slip-cam" || !netip.MustParsePrefix("203.0.113.64/26").Contains(l.Addr) ||
		l.Expires.Sub(r.Written).Round(time.Minute) != 10*time.Minute {
		t.Errorf("lease %+v, written %v", l, r.Written)
	}
}

func TestDiscoverEndings(t *testing.T) {
	t.Parallel()
	near, far := netns.New(t), netns.New(t)
	netns.Veth(near, "eth0", far, "eth0")
	if got := discover(t, t.Context(), near, time.Millisecond); got.End != "no-answer" || got.Sent != 1 {
		t.Errorf("nobody there: %+v", got)
	}
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(100*time.Millisecond, cancel)
	when := time.Now()
	if got := discover(t, ctx, near, time.Hour); got.End != "partial" || !strings.Contains(got.Why, "canceled") {
		t.Errorf("cancelled: %+v", got)
	}
	if took := time.Since(when); took > 1100*time.Millisecond {
		t.Errorf("ended after %v, want within a second of the cancel", took)
	}
	near.Exec("ip", "link", "set", "eth0", "down")
	if got := discover(t, t.Context(), near, 0); got.End != "skipped" || got.Sent != 0 {
		t.Errorf("down: %+v", got)
	}
}

func TestWithoutRights(t *testing.T) {
	if !netns.Inside() {
		t.Parallel()
		near, far := netns.New(t), netns.New(t)
		netns.Veth(near, "eth0", far, "eth0")
		secret, err := os.CreateTemp("", "leases")
		if err != nil {
			t.Fatal(err)
		}
		secret.Close()
		t.Cleanup(func() { os.Remove(secret.Name()) })
		near.RerunAs(t, 65534, "LEASES="+secret.Name())
		return
	}
	if got := lease.Discover(t.Context(), "eth0", lease.DiscoverOptions{}); got.End != "refused" || got.Sent != 0 {
		t.Errorf("Discover: %+v", got)
	}
	if got := lease.Read(os.Getenv("LEASES"), lease.Options{}); got.End != "refused" {
		t.Errorf("Read: %+v", got)
	}
}
