package ndp_test

import (
	"context"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/ndp"
)

func look(t *testing.T, ctx context.Context, in *netns.Namespace, opts ndp.Options) ndp.Result {
	t.Helper()
	var r ndp.Result
	in.Do(func() { r = ndp.Look(ctx, "eth0", opts) })
	return r
}

// site has an auditor, a camera and a router behind a switch. Link-local
// addresses are set by hand, so that the test needs not wait for duplicate
// address detection.
func site(t *testing.T) (auditor, camera, router *netns.Namespace) {
	t.Helper()
	hub := netns.New(t)
	hosts := []*netns.Namespace{netns.New(t), netns.New(t), netns.New(t)}
	var ports []string
	for i, h := range hosts {
		port := fmt.Sprintf("p%d", i)
		netns.Veth(hub, port, h, "eth0")
		h.Exec("sysctl", "-qw", "net.ipv6.conf.eth0.accept_dad=0", "net.ipv6.conf.eth0.addr_gen_mode=1")
		h.Exec("ip", "link", "set", "eth0", "down")
		h.MAC("eth0", fmt.Sprintf("00:00:5e:00:53:%02x", i+1))
		h.Exec("ip", "link", "set", "eth0", "up")
		h.Address("eth0", netip.MustParsePrefix(fmt.Sprintf("fe80::%d/64", i+1)), netip.MustParsePrefix(fmt.Sprintf("2001:db8::%d/64", i+1)))
		ports = append(ports, port)
	}
	hub.Bridge("br0", ports...)
	return hosts[0], hosts[1], hosts[2]
}

// Hosts by the ping, a global address that only a solicitation finds, a router
// that is Debian's dnsmasq; the kernel's own neighbour table is the oracle.
func TestLook(t *testing.T) {
	netns.Need(t, "dnsmasq")
	t.Parallel()
	auditor, camera, router := site(t)
	camera.Address("eth0", netip.MustParsePrefix("2001:db8:1::99/64"))
	router.Exec("sysctl", "-qw", "net.ipv6.conf.all.forwarding=1")
	router.Start("dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--port=0", "--user=root", "--pid-file=",
		"--enable-ra", "--dhcp-range=2001:db8::,ra-only,64", "--dhcp-option=option6:dns-server,[2001:db8::3]", "--interface=eth0",
		"--dhcp-leasefile="+t.TempDir()+"/leases")

	opts := ndp.Options{Ask: []netip.Addr{netip.MustParseAddr("2001:db8:1::99"), netip.MustParseAddr("2001:db8::dead")}}
	var got ndp.Result
	for range 5 { // the router may not be up at once
		if got = look(t, t.Context(), auditor, opts); len(got.Routers) > 0 {
			break
		}
	}
	if got.End != "complete" || got.Why != "" {
		t.Errorf("ended %s: %s", got.End, got.Why)
	}
	var have []string
	for _, n := range got.Neighbors {
		have = append(have, fmt.Sprintf("%s %x", n.Addr, n.MAC))
	}
	var want []string
	auditor.Exec("ip", "route", "add", "2001:db8:1::/64", "dev", "eth0")
	for _, a := range []string{"2001:db8::2", "2001:db8::3", "2001:db8:1::99", "fe80::2%eth0", "fe80::3%eth0"} {
		auditor.Exec("ping", "-c", "1", "-W", "5", a)
		addr, _, _ := strings.Cut(a, "%")
		fields := strings.Fields(auditor.Exec("ip", "-6", "neigh", "show", addr, "dev", "eth0")) // addr lladdr MAC …
		if len(fields) < 3 {
			t.Fatalf("ip neigh shows %q for %s", fields, a)
		}
		want = append(want, addr+" "+strings.ReplaceAll(fields[2], ":", ""))
	}
	slices.Sort(have)
	slices.Sort(want)
	if !slices.Equal(have, want) {
		t.Errorf("found %q\nkernel %q", have, want)
	}
	if len(got.Routers) != 1 {
		t.Fatalf("routers %+v, want one", got.Routers)
	}
	r := got.Routers[0]
	if r.Addr.String() != "fe80::3" || r.MAC != [6]byte{0, 0, 0x5e, 0, 0x53, 3} || r.Lifetime == 0 ||
		!slices.Equal(r.Prefixes, []netip.Prefix{netip.MustParsePrefix("2001:db8::/64")}) || !slices.Equal(r.DNS, []netip.Addr{netip.MustParseAddr("2001:db8::3")}) {
		t.Errorf("router %+v", r)
	}
}

func TestEndings(t *testing.T) {
	t.Parallel()
	lonely, far := netns.New(t), netns.New(t)
	netns.Veth(lonely, "eth0", far, "eth0")
	lonely.Exec("ip", "link", "set", "eth0", "down")
	if got := look(t, t.Context(), lonely, ndp.Options{}); got.End != "skipped" || !strings.Contains(got.Why, "down") {
		t.Errorf("down: %s %s", got.End, got.Why)
	}
	lonely.Exec("sysctl", "-qw", "net.ipv6.conf.eth0.accept_dad=0", "net.ipv6.conf.eth0.addr_gen_mode=1")
	lonely.Exec("ip", "link", "set", "eth0", "up")
	if got := look(t, t.Context(), lonely, ndp.Options{}); got.End != "skipped" || !strings.Contains(got.Why, "no IPv6 link-local address") {
		t.Errorf("without an address: %s %s", got.End, got.Why)
	}
	lonely.Address("eth0", netip.MustParsePrefix("fe80::1/64"))
	if got := look(t, t.Context(), lonely, ndp.Options{Window: time.Millisecond}); got.End != "no-answer" || got.Sent != 2 {
		t.Errorf("alone: %s %s, %d sent; want no-answer after 2", got.End, got.Why, got.Sent)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	when := time.Now()
	if got := look(t, ctx, lonely, ndp.Options{Window: time.Hour}); got.End != "partial" || !strings.Contains(got.Why, "canceled") {
		t.Errorf("cancelled: %s %s", got.End, got.Why)
	}
	if took := time.Since(when); took > time.Second {
		t.Errorf("ended %v after it was cancelled, want within a second", took)
	}
}

func TestWithoutRights(t *testing.T) {
	if !netns.Inside() {
		t.Parallel()
		auditor, _, _ := site(t)
		auditor.RerunAs(t, 65534)
		return
	}
	if got := ndp.Look(t.Context(), "eth0", ndp.Options{}); got.End != "refused" || got.Sent != 0 {
		t.Errorf("ended %s: %s; want refused", got.End, got.Why)
	}
}
