package dnssd_test

import (
	"context"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/dnssd"
)

// startAvahi runs Debian's avahi-daemon with one service file. Its folders are
// fixed, so it gets a file system view of its own.
func startAvahi(t *testing.T, in *netns.Namespace, hostName, service string) {
	t.Helper()
	netns.Need(t, "avahi-daemon")
	dir := t.TempDir()
	services := filepath.Join(dir, "services")
	config := filepath.Join(dir, "avahi.conf")
	for path, text := range map[string]string{
		config: "[server]\nhost-name=" + hostName +
			"\nuse-ipv6=no\nallow-interfaces=eth0\nenable-dbus=no\n[publish]\npublish-hinfo=no\npublish-workstation=no\n",
		filepath.Join(services, "a.service"): service,
	} {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	in.Start("unshare", "--mount", "sh", "-c",
		"mount --bind "+services+" /etc/avahi/services && mount -t tmpfs tmpfs /run && mkdir /run/avahi-daemon && exec avahi-daemon --no-drop-root --no-chroot --no-rlimits -f "+config)
}

func wire(t *testing.T) (near, far *netns.Namespace) {
	t.Helper()
	near, far = netns.New(t), netns.New(t)
	netns.Veth(near, "eth0", far, "eth0")
	near.Address("eth0", netip.MustParsePrefix("203.0.113.5/24"))
	far.Address("eth0", netip.MustParsePrefix("203.0.113.131/24"))
	return near, far
}

func browse(t *testing.T, ctx context.Context, in *netns.Namespace, opts dnssd.Options) dnssd.Result {
	t.Helper()
	var r dnssd.Result
	in.Do(func() { r = dnssd.Browse(ctx, "eth0", opts) })
	return r
}

// A real responder, of a type that only its enumeration tells of.
func TestBrowseAvahi(t *testing.T) {
	t.Parallel()
	near, far := wire(t)
	far.Exec("sysctl", "-qw", "net.ipv6.conf.eth0.disable_ipv6=1") // for addresses that are known
	startAvahi(t, far, "slip-cam", `<?xml version="1.0"?><!DOCTYPE service-group SYSTEM "avahi-service.dtd">
<service-group><name>Slip camera</name>
<service><type>_tern-view._tcp</type><port>8554</port><txt-record>model=dome</txt-record><txt-record>path=/live</txt-record></service>
<service><type>_rtsp._tcp</type><port>554</port></service>
</service-group>`)
	var got dnssd.Result
	for range 10 { // it claims its names before it answers
		if got = browse(t, t.Context(), near, dnssd.Options{Rate: 20}); got.End == "complete" {
			break
		}
	}
	if got.End != "complete" || got.Malformed+got.Foreign+got.Overflow != 0 {
		t.Fatalf("ended %s: %s; %+v", got.End, got.Why, got)
	}
	from := netip.MustParseAddr("203.0.113.131")
	want := []dnssd.Service{
		{Instance: "Slip camera", Type: "_rtsp._tcp", Host: "slip-cam.local", Port: 554, Addrs: []netip.Addr{from}, From: from},
		{Instance: "Slip camera", Type: "_tern-view._tcp", Host: "slip-cam.local", Port: 8554, Text: []string{"model=dome", "path=/live"},
			Addrs: []netip.Addr{from}, From: from},
	}
	if len(got.Services) != len(want) {
		t.Fatalf("got %+v\nwant %+v", got.Services, want)
	}
	for i, s := range got.Services {
		w := want[i]
		slices.Sort(s.Text)
		if s.Instance != w.Instance || s.Type != w.Type || s.Host != w.Host || s.Port != w.Port || !slices.Equal(s.Text, w.Text) ||
			!slices.Equal(s.Addrs, w.Addrs) || s.From != w.From || s.Seen.IsZero() {
			t.Errorf("got  %+v\nwant %+v", s, w)
		}
	}
}

func TestEndings(t *testing.T) {
	t.Parallel()
	near, _ := wire(t)
	if got := browse(t, t.Context(), near, dnssd.Options{Window: time.Millisecond}); got.End != "no-answer" || got.Sent != 1 {
		t.Errorf("nobody there: %s %s, %d sent; want no-answer after 1", got.End, got.Why, got.Sent)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	when := time.Now()
	if got := browse(t, ctx, near, dnssd.Options{Window: time.Hour}); got.End != "partial" || !strings.Contains(got.Why, "canceled") {
		t.Errorf("cancelled: %s %s", got.End, got.Why)
	}
	if took := time.Since(when); took > time.Second {
		t.Errorf("ended %v after it was cancelled, want within a second", took)
	}
	near.Exec("ip", "addr", "flush", "dev", "eth0")
	if got := browse(t, t.Context(), near, dnssd.Options{}); got.End != "skipped" || !strings.Contains(got.Why, "no IPv4 address") {
		t.Errorf("without an address: %s %s", got.End, got.Why)
	}
}
