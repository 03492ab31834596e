package arp_test

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/arp"
)

// A /24 with several hosts behind a switch, two addresses on one of them. What
// the kernel resolves by itself (ip neigh, after a ping to each) is the oracle.
func TestSweepMatchesKernel(t *testing.T) {
	t.Parallel()
	near, hub := netns.New(t), netns.New(t)
	netns.Veth(near, "eth0", hub, "p0")
	near.Address("eth0", netip.MustParsePrefix(auditor+"/24"))
	ports := []string{"p0"}
	addrs := []string{"203.0.113.1", "203.0.113.2", "203.0.113.20", "203.0.113.131", "203.0.113.254"}
	for i, a := range addrs {
		host := netns.New(t)
		port := fmt.Sprintf("p%d", i+1)
		netns.Veth(hub, port, host, "eth0")
		host.MAC("eth0", fmt.Sprintf("00:00:5e:00:53:%02x", i+1))
		host.Address("eth0", netip.MustParsePrefix(a+"/24"))
		if i == 1 {
			host.Address("eth0", netip.MustParsePrefix("203.0.113.3/24"))
		}
		ports = append(ports, port)
	}
	hub.Bridge("br0", ports...)

	var last, total int
	got, err := sweep(t, t.Context(), near, arp.Options{
		Prefix:   network,
		Rate:     2000,
		Progress: func(sent, of int) { last, total = sent, of },
	})
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, r := range got.Replies {
		have = append(have, fmt.Sprintf("%s %x", r.Addr, r.MAC))
	}
	var want []string
	for _, a := range append(addrs, "203.0.113.3") {
		near.Exec("ping", "-c", "1", "-W", "5", a)
		fields := strings.Fields(near.Exec("ip", "neigh", "show", a)) // addr dev eth0 lladdr MAC state
		if len(fields) < 5 {
			t.Fatalf("ip neigh shows %q for %s", fields, a)
		}
		want = append(want, a+" "+strings.ReplaceAll(fields[4], ":", ""))
	}
	slices.Sort(have)
	slices.Sort(want)
	if !slices.Equal(have, want) {
		t.Errorf("swept %q\nkernel %q", have, want)
	}
	if !got.Complete || got.Why != "" || got.Sent != 253 || len(got.NotAsked) != 0 || got.Sender.String() != auditor {
		t.Errorf("complete %v %q, %d sent from %s, not asked %v; want 253 from %s", got.Complete, got.Why, got.Sent, got.Sender, got.NotAsked, auditor)
	}
	if last != 253 || total != 253 {
		t.Errorf("progress ended at %d of %d, want 253 of 253", last, total)
	}
}

// Who is asked how often, and with which sender.
func TestTries(t *testing.T) {
	t.Parallel()
	near, far := cable(t)
	near.Exec("ip", "addr", "add", "198.51.100.9/24", "dev", "eth0") // not the network's
	addr := netip.MustParseAddr
	peer := newStation(t, far, func(target netip.Addr, ask int) [][]byte {
		switch target.String() {
		case "203.0.113.17": // planned, always answers
			return [][]byte{frame(opReply, mac(0x17), target)}
		case "203.0.113.19": // planned, answers the third time
			if ask == 3 {
				return [][]byte{frame(opReply, mac(0x19), target)}
			}
		}
		return nil
	})
	opts := arp.Options{
		Prefix:     netip.MustParsePrefix("203.0.113.16/28"),
		Rate:       1000,
		Planned:    []netip.Addr{addr("203.0.113.17"), addr("203.0.113.18"), addr("203.0.113.19"), addr("203.0.113.20"), addr("198.51.100.7")},
		LeaveAlone: []netip.Addr{addr("203.0.113.20"), addr("203.0.113.21")},
		Skip:       []netip.Addr{addr("203.0.113.22")},
	}
	got, err := sweep(t, t.Context(), near, opts)
	if !errors.Is(err, arp.ErrNotRun) || got.Sent != 0 {
		t.Fatalf("without an address in the prefix: error %v, %d sent", err, got.Sent)
	}
	near.Address("eth0", netip.MustParsePrefix("203.0.113.30/28"))
	got, err = sweep(t, t.Context(), near, opts)
	if err != nil {
		t.Fatal(err)
	}
	for a, want := range map[string]int{
		"203.0.113.17": 2, // twice, to know a lasting sender from a leftover
		"203.0.113.18": 3, // silent
		"203.0.113.19": 3,
		"203.0.113.20": 1, // planned, yet left alone
		"203.0.113.21": 1,
		"203.0.113.22": 0, // skipped
		"203.0.113.23": 1, // not planned
		"203.0.113.30": 0, // our own
		"203.0.113.31": 0, // broadcast
		"203.0.113.16": 0, // network
		"198.51.100.7": 0, // outside
	} {
		if n := peer.asked(a); n != want {
			t.Errorf("%s was asked %d times, want %d", a, n, want)
		}
	}
	if want := []string{"203.0.113.17 -17 2", "203.0.113.19 -19 1"}; !slices.Equal(show(got.Replies), want) {
		t.Errorf("got %q, want %q", show(got.Replies), want)
	}
	if n := peer.from[addr("203.0.113.30")]; n != got.Sent || len(peer.from) != 1 {
		t.Errorf("senders seen %v, want only 203.0.113.30 %d times", peer.from, got.Sent)
	}
}

// FC-17 and FC-19 on the wire: two senders for one address, a frame with
// protocol length 6 and a cut one between good ones, a probe and a stranger.
func TestOddFramesOnTheWire(t *testing.T) {
	t.Parallel()
	near, far := cable(t)
	shared := netip.MustParseAddr("203.0.113.10")
	newStation(t, far, func(target netip.Addr, _ int) [][]byte {
		if target != shared {
			return nil
		}
		long := frame(opReply, mac(0x33), target)
		long[19] = 6
		return [][]byte{
			frame(opReply, mac(0x11), target),
			long,
			frame(opReply, mac(0x34), target)[:34],
			frame(1, mac(0x31), netip.IPv4Unspecified()),
			frame(1, mac(0x31), netip.MustParseAddr("198.51.100.108")),
			frame(opReply, mac(0x12), target),
		}
	})
	got, err := sweep(t, t.Context(), near, arp.Options{
		Prefix:  netip.MustParsePrefix("203.0.113.0/28"),
		Rate:    1000,
		Planned: []netip.Addr{shared},
	})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"203.0.113.10 -11 3", "203.0.113.10 -12 3"}; !slices.Equal(show(got.Replies), want) {
		t.Errorf("answers %q, want %q", show(got.Replies), want)
	}
	if want := []string{"invalid IP -31 0", "198.51.100.108 -31 0"}; !slices.Equal(show(got.Heard), want) {
		t.Errorf("heard %q, want %q", show(got.Heard), want)
	}
	if got.Malformed != 6 || !got.Complete {
		t.Errorf("%d malformed, complete %v %q; want 6 in three tries, complete", got.Malformed, got.Complete, got.Why)
	}
}

// FC-18 with a router that has proxy ARP switched on.
func TestProxyOnTheWire(t *testing.T) {
	t.Parallel()
	near, far := cable(t)
	far.MAC("eth0", "00:00:5e:00:53:01")
	far.Address("eth0", netip.MustParsePrefix("203.0.113.1/30"))
	netns.Veth(far, "wan0", far, "wan1")
	far.Exec("ip", "route", "add", "default", "dev", "wan0")
	far.Exec("sysctl", "-qw", "net.ipv4.ip_forward=1", "net.ipv4.conf.eth0.proxy_arp=1", "net.ipv4.neigh.eth0.proxy_delay=0")
	far.Exec("ip", "route", "add", "203.0.113.5/32", "dev", "eth0")
	got, err := sweep(t, t.Context(), near, arp.Options{Prefix: network, Rate: 1000})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got.Replies {
		if r.MAC != mac(0x01) {
			t.Errorf("%v is answered for by %x, want the router's MAC", r.Addr, r.MAC)
		}
	}
	if len(got.Replies) < 240 {
		t.Errorf("got %d answers, want one for nearly every address", len(got.Replies))
	}
}

func TestCancel(t *testing.T) {
	t.Parallel()
	near, _ := cable(t)
	stopped := errors.New("asked to stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	var when time.Time
	got, err := sweep(t, ctx, near, arp.Options{
		Prefix: network,
		Rate:   1, // the sweep would take four minutes
		Progress: func(sent, _ int) {
			if sent == 1 {
				when = time.Now()
				cancel(stopped)
			}
		},
	})
	if took := time.Since(when); took > time.Second {
		t.Errorf("the sweep ended %v after it was cancelled, want within a second", took)
	}
	if !errors.Is(err, stopped) || got.Complete || got.Sent != 1 || len(got.NotAsked) != 252 {
		t.Errorf("error %v, complete %v, %d sent, %d not asked; want the cause, 1 and 252", err, got.Complete, got.Sent, len(got.NotAsked))
	}
}

// FC-19, FC-23: what happens to our own interface is never anyone's absence.
func TestInterfaceTrouble(t *testing.T) {
	t.Parallel()
	opts := func(progress func()) arp.Options {
		return arp.Options{Prefix: network, Rate: 100, Progress: func(sent, _ int) {
			if sent == 2 && progress != nil {
				progress()
			}
		}}
	}
	tests := map[string]struct {
		before func(near, far *netns.Namespace)
		during func(near, far *netns.Namespace)
		says   string
	}{
		"no such interface": {before: func(near, _ *netns.Namespace) { near.Exec("ip", "link", "del", "eth0") }, says: "no interface of that name"},
		"down":              {before: func(near, _ *netns.Namespace) { near.Exec("ip", "link", "set", "eth0", "down") }, says: "is down"},
		"no carrier":        {before: func(_, far *netns.Namespace) { far.Exec("ip", "link", "set", "eth0", "down") }, says: "no carrier"},
		"no address":        {before: func(near, _ *netns.Namespace) { near.Exec("ip", "addr", "flush", "dev", "eth0") }, says: "no address in 203.0.113.0/24"},
		"goes down":         {during: func(near, _ *netns.Namespace) { near.Exec("ip", "link", "set", "eth0", "down") }, says: "lost"},
		"vanishes":          {during: func(near, _ *netns.Namespace) { near.Exec("ip", "link", "del", "eth0") }, says: "lost"},
		"flickers": {during: func(_, far *netns.Namespace) {
			far.Exec("ip", "link", "set", "eth0", "down")
			far.Exec("ip", "link", "set", "eth0", "up")
		}, says: "lost carrier"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			near, far := cable(t)
			if test.before != nil {
				test.before(near, far)
			}
			var during func()
			if test.during != nil {
				during = func() { test.during(near, far) }
			}
			got, err := sweep(t, t.Context(), near, opts(during))
			if !errors.Is(err, arp.ErrNotRun) || got.Complete {
				t.Fatalf("error %v, complete %v; want ErrNotRun", err, got.Complete)
			}
			if !strings.Contains(err.Error(), test.says) {
				t.Errorf("error %q does not say %q", err, test.says)
			}
		})
	}
}

// FC-19: the address comes late; the sweep waits for it.
func TestLateAddress(t *testing.T) {
	t.Parallel()
	near, far := cable(t)
	near.Exec("ip", "addr", "flush", "dev", "eth0")
	far.Address("eth0", netip.MustParsePrefix("203.0.113.1/24"))
	added := make(chan struct{})
	time.AfterFunc(600*time.Millisecond, func() {
		near.Address("eth0", netip.MustParsePrefix(auditor+"/24"))
		close(added)
	})
	got, err := sweep(t, t.Context(), near, arp.Options{Prefix: network, Rate: 1000, Wait: time.Minute})
	<-added
	if err != nil || len(got.Replies) != 1 {
		t.Errorf("error %v, replies %q; want 203.0.113.1", err, show(got.Replies))
	}
}

// Listening between sweeps: hears who speaks, sends nothing, ends with its
// context and without an error.
func TestListen(t *testing.T) {
	t.Parallel()
	near, far := cable(t)
	peer := newStation(t, far, nil)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	seen := make(map[arp.Reply]bool)
	ready := make(chan struct{})
	go func() {
		// Announce until heard: when the listener's socket is open shows only so.
		for tick := time.NewTicker(20 * time.Millisecond); ; {
			select {
			case <-ready:
				tick.Stop()
				return
			case <-tick.C:
				peer.send(frame(1, mac(0x31), netip.MustParseAddr("198.51.100.108")))
				peer.send(frame(1, mac(0x32), netip.IPv4Unspecified()))
				peer.send(frame(1, mac(0x33), netip.MustParseAddr("192.0.2.1")))
			}
		}
	}()
	var got arp.Result
	var err error
	near.Do(func() {
		got, err = arp.Listen(ctx, "eth0", arp.ListenOptions{
			Ignore: []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")},
			Each: func(r arp.Reply) {
				seen[r] = true
				if len(seen) == 2 {
					cancel()
				}
			},
		})
	})
	close(ready)
	if err != nil || !got.Complete {
		t.Fatalf("error %v, complete %v %q", err, got.Complete, got.Why)
	}
	if want := []string{"invalid IP -32 0", "198.51.100.108 -31 0"}; !slices.Equal(show(got.Heard), want) {
		t.Errorf("heard %q, want %q", show(got.Heard), want)
	}
	if len(peer.from) != 0 {
		t.Errorf("the listener sent requests: %v", peer.from)
	}
}
