package reach_test

import (
	"context"
	"net"
	"net/netip"
	"os"
	"reflect"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv4"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/reach"
)

const (
	device = "203.0.113.131" // answers
	mute   = "203.0.113.132" // is there, and its packets do not come back
	nobody = "203.0.113.133"
)

func wire(t *testing.T) (near, far *netns.Namespace) {
	t.Helper()
	near, far = netns.New(t), netns.New(t)
	netns.Veth(near, "eth0", far, "eth0")
	near.Address("eth0", netip.MustParsePrefix("203.0.113.5/24"), netip.MustParsePrefix("2001:db8::5/64"))
	far.Address("eth0", netip.MustParsePrefix(device+"/24"), netip.MustParsePrefix("2001:db8::131/64"))
	return near, far
}

// silentlyClosed takes connections until end, which closes l and tells how many
// came and went without a word.
func silentlyClosed(l net.Listener) (end func() int64) {
	var got atomic.Int64
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			conn.SetReadDeadline(time.Now().Add(10 * time.Second))
			if n, _ := conn.Read(make([]byte, 1)); n == 0 {
				got.Add(1) // closed, and nothing was said
			}
			conn.Close()
		}
	}()
	return func() int64 {
		l.Close()
		<-ended
		return got.Load()
	}
}

// The code under test starts goroutines that open sockets, so it runs in a
// process inside.
func TestConnect(t *testing.T) {
	if !netns.Inside() {
		t.Parallel()
		near, far := wire(t)
		far.Address("eth0", netip.MustParsePrefix(mute+"/24"))
		far.Exec("ip", "rule", "add", "from", mute, "blackhole")
		var l net.Listener
		var err error
		far.Do(func() { l, err = net.Listen("tcp4", device+":554") })
		if err != nil {
			t.Fatal(err)
		}
		closed := silentlyClosed(l)
		near.Rerun(t)
		if n := closed(); n != 2 {
			t.Errorf("the device saw %d connections without a word, want 2", n)
		}
		return
	}
	port := func(addr string, p uint16) netip.AddrPort { return netip.AddrPortFrom(netip.MustParseAddr(addr), p) }
	targets := []netip.AddrPort{port(device, 554), port(device, 80), port(mute, 80), port(nobody, 80), port("198.51.100.1", 80), port(device, 554)}
	got := reach.Connect(t.Context(), targets, reach.ConnectOptions{Timeout: 500 * time.Millisecond})
	var states []reach.PortState
	for i, p := range got.Ports {
		if p.AddrPort != targets[i] || p.Seen.IsZero() || (p.Delay > 0) != (p.State == reach.Open || p.State == reach.Closed) {
			t.Errorf("port %+v", p)
		}
		states = append(states, p.State)
	}
	if want := []reach.PortState{reach.Open, reach.Closed, reach.Silent, reach.Silent, reach.Unreachable, reach.Open}; !reflect.DeepEqual(states, want) {
		t.Errorf("states %q, want %q", states, want)
	}
	if got.End != "complete" {
		t.Errorf("ended %s: %s", got.End, got.Why)
	}
	if got := reach.Connect(t.Context(), targets[2:5], reach.ConnectOptions{Timeout: 100 * time.Millisecond}); got.End != "no-answer" {
		t.Errorf("silent ones: %s %s", got.End, got.Why)
	}
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(100*time.Millisecond, cancel)
	when := time.Now()
	stopped := reach.Connect(ctx, targets[2:5], reach.ConnectOptions{Rate: 1, Timeout: time.Hour})
	if took := time.Since(when); stopped.End != "partial" || took > 1100*time.Millisecond || stopped.Ports[2].State != reach.NotTried {
		t.Errorf("cancelled: %+v after %v", stopped, took)
	}
}

// A device that answers only every other ping, one that answers all, one that
// is not there, and IPv6.
func TestPing(t *testing.T) {
	if !netns.Inside() {
		t.Parallel()
		near, _ := wire(t)
		halting := netns.New(t)
		netns.Veth(near, "eth1", halting, "eth0")
		near.Address("eth1", netip.MustParsePrefix("198.51.100.5/24"))
		halting.Address("eth0", netip.MustParsePrefix("198.51.100.9/24"))
		halting.Exec("sysctl", "-qw", "net.ipv4.icmp_echo_ignore_all=1")
		answerEvenPings(t, halting)
		near.Rerun(t, "KIND=raw")
		near.Exec("sysctl", "-qw", "net.ipv4.ping_group_range=0 65535")
		near.RerunAs(t, 65534, "KIND=datagram")
		near.Exec("sysctl", "-qw", "net.ipv4.ping_group_range=1 0")
		near.RerunAs(t, 65534, "KIND=refused")
		return
	}
	addrs := []netip.Addr{netip.MustParseAddr(device), netip.MustParseAddr("198.51.100.9"), netip.MustParseAddr(nobody), netip.MustParseAddr("2001:db8::131")}
	got := reach.Ping(t.Context(), addrs, reach.PingOptions{Count: 4, Gap: 50 * time.Millisecond, Wait: 500 * time.Millisecond, Rate: 1000})
	if os.Getenv("KIND") == "refused" {
		if got.End != "refused" {
			t.Errorf("without rights: %s %s", got.End, got.Why)
		}
		return
	}
	if got.End != "complete" && got.End != "partial" { // nobody's address may come back as an error of sending
		t.Errorf("ended %s: %s", got.End, got.Why)
	}
	for i, want := range []int{4, 2, 0, 4} {
		e := got.Echoes[i]
		if e.Addr != addrs[i] || e.Sent != 4 || e.Received != want || e.Loss() != 1-float64(want)/4 {
			t.Errorf("%+v; want %d of 4", e, want)
		}
		if want > 0 && (e.Least <= 0 || e.Least > e.Mean || e.Mean > e.Most) || want == 0 && e.Most != 0 {
			t.Errorf("times %+v", e)
		}
	}
	if got := reach.Ping(t.Context(), addrs[2:3], reach.PingOptions{Count: 1, Wait: time.Millisecond}); got.End != "no-answer" {
		t.Errorf("nobody: %s %s", got.End, got.Why)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	when := time.Now()
	if got := reach.Ping(ctx, addrs, reach.PingOptions{}); got.End != "partial" || time.Since(when) > time.Second {
		t.Errorf("cancelled: %s %s after %v", got.End, got.Why, time.Since(when))
	}
}

// answerEvenPings answers the echo requests with an even sequence number, twice
// each: the second must not count. It also sends answers that nobody asked for.
func answerEvenPings(t *testing.T, in *netns.Namespace) {
	t.Helper()
	var conn *icmp.PacketConn
	var err error
	in.Do(func() { conn, err = icmp.ListenPacket("ip4:icmp", "0.0.0.0") })
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	t.Cleanup(func() { conn.Close(); <-ended })
	go func() {
		defer close(ended)
		buf := make([]byte, 1500)
		for {
			n, from, err := conn.ReadFrom(buf)
			if err != nil {
				return
			}
			m, err := icmp.ParseMessage(1, buf[:n])
			if err != nil || m.Type != ipv4.ICMPTypeEcho {
				continue
			}
			echo := m.Body.(*icmp.Echo)
			data := append([]byte(nil), echo.Data...)
			for _, d := range [][]byte{data, data, append([]byte{0xff}, data[1:]...), data[:3]} {
				if echo.Seq%2 != 0 {
					d = append([]byte{0xff}, data[1:]...)
				}
				b, err := (&icmp.Message{Type: ipv4.ICMPTypeEchoReply, Body: &icmp.Echo{ID: echo.ID, Seq: echo.Seq, Data: d}}).Marshal(nil)
				if err == nil {
					conn.WriteTo(b, from) //nolint:errcheck // the test misses its answer then
				}
			}
		}
	}()
}

func TestNames(t *testing.T) {
	t.Parallel()
	netns.Need(t, "dnsmasq")
	near, far := wire(t)
	far.Start("dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--user=root", "--pid-file=", "--no-resolv", "--no-hosts",
		"--interface=eth0", "--bind-interfaces",
		"--host-record=slip-cam.tern-quay.example,203.0.113.131,2001:db8::131", "--host-record=quay-cam.tern-quay.example,203.0.113.132",
		"--local=/0.203.in-addr.arpa/", "--local=/113.0.203.in-addr.arpa/", "--local=/ip6.arpa/")
	addrs := []netip.Addr{netip.MustParseAddr(device), netip.MustParseAddr(mute), netip.MustParseAddr(nobody), netip.MustParseAddr("2001:db8::131")}
	ask := func(ctx context.Context, opts reach.NamesOptions) (r reach.NamesResult) {
		near.Do(func() { r = reach.Names(ctx, addrs, opts) })
		return r
	}
	server := netip.AddrPortFrom(addrs[0], 53)
	var got reach.NamesResult
	for range 20 { // it is not up at once
		if got = ask(t.Context(), reach.NamesOptions{Server: server, Rate: 1000, Timeout: time.Second}); got.End == "complete" {
			break
		}
	}
	want := map[netip.Addr][]string{addrs[0]: {"slip-cam.tern-quay.example"}, addrs[1]: {"quay-cam.tern-quay.example"}, addrs[3]: {"slip-cam.tern-quay.example"}}
	if got.End != "complete" || got.Asked != 4 || got.Failed != 0 || !reflect.DeepEqual(got.Names, want) {
		t.Errorf("got %+v\nwant %v", got, want)
	}
	silent := netip.AddrPortFrom(netip.MustParseAddr(nobody), 53)
	if got := ask(t.Context(), reach.NamesOptions{Server: silent, Rate: 1000, Timeout: 50 * time.Millisecond}); got.End != "no-answer" ||
		got.Asked != 3 || got.Why == "" {
		t.Errorf("a silent server: %+v; want no-answer after 3", got)
	}
	if got := ask(t.Context(), reach.NamesOptions{}); got.End != "skipped" || got.Asked != 0 {
		t.Errorf("no server: %+v", got)
	}
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	when := time.Now()
	if got := ask(ctx, reach.NamesOptions{Server: silent, Timeout: time.Hour}); got.End != "partial" || !strings.Contains(got.Why, "canceled") ||
		time.Since(when) > 1100*time.Millisecond {
		t.Errorf("cancelled: %+v after %v", got, time.Since(when))
	}
}

func TestNamesRefused(t *testing.T) {
	for rcode, end := range map[byte]string{5: "refused", 2: "partial"} { // REFUSED, SERVFAIL (RFC 1035, section 4.1.1)
		conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			buf := make([]byte, 512)
			for {
				n, from, err := conn.ReadFrom(buf)
				if err != nil {
					return
				}
				buf[2] |= 0x80
				buf[3] = rcode
				conn.WriteTo(buf[:n], from) //nolint:errcheck // the test misses its answer then
			}
		}()
		got := reach.Names(t.Context(), []netip.Addr{netip.MustParseAddr(device), netip.MustParseAddr(nobody)},
			reach.NamesOptions{Server: conn.LocalAddr().(*net.UDPAddr).AddrPort(), Rate: 1000})
		conn.Close()
		<-ended
		if got.End != end || got.Failed != 2 || got.Why == "" {
			t.Errorf("code %d: %+v; want %s", rcode, got, end)
		}
	}
}
