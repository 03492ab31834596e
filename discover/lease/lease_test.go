package lease_test

import (
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"
	"time"

	"boundwalk/discover/lease"
)

func mac(last byte) [6]byte { return [6]byte{0, 0, 0x5e, 0, 0x53, last} }

func at(seconds int64) time.Time { return time.Unix(seconds, 0).UTC() }

// The files in testdata were written by dhcpd 4.4.3-P1 and Kea 2.2.0 (Debian),
// for three clients over IPv4, of which the second gave its lease back (and the
// third has a fixed address with dhcpd), and two over IPv6.
func TestRecordedFiles(t *testing.T) {
	addr := netip.MustParseAddr
	tests := map[string]struct {
		server string
		want   []lease.Lease
	}{
		"isc4.leases": {"isc", []lease.Lease{
			{Addr: addr("203.0.113.64"), MAC: mac(0x31), Name: "slip-cam", Expires: time.Date(2026, 11, 25, 4, 58, 0, 0, time.UTC)},
		}},
		"isc6.leases": {"isc", []lease.Lease{
			{Addr: addr("2001:db8::1ee"), MAC: mac(0x42), Expires: time.Date(2026, 11, 25, 4, 58, 0, 0, time.UTC)},
			{Addr: addr("2001:db8::200"), MAC: mac(0x41), Expires: time.Date(2026, 11, 25, 4, 58, 0, 0, time.UTC)},
		}},
		"kea4.csv": {"kea", []lease.Lease{
			{Addr: addr("203.0.113.64"), MAC: mac(0x31), Name: "slip-cam", Expires: at(1795582684)},
			{Addr: addr("203.0.113.66"), MAC: mac(0x33), Name: "abc", Expires: at(1795582684)},
		}},
		"kea6.csv": {"kea", []lease.Lease{
			{Addr: addr("2001:db8::100"), MAC: mac(0x41), Name: "slip-six", Expires: at(1795582684)},
			{Addr: addr("2001:db8::101"), MAC: mac(0x42), Name: "slip-six", Expires: at(1795582684)},
		}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got := lease.Read(filepath.Join("testdata", name), lease.Options{})
			if got.Server != test.server || got.End != "complete" || got.Why != "" || got.Written.IsZero() {
				t.Errorf("%s, %s %s, written %v", got.Server, got.End, got.Why, got.Written)
			}
			if !reflect.DeepEqual(got.Leases, test.want) {
				t.Errorf("got  %+v\nwant %+v", got.Leases, test.want)
			}
		})
	}
}

const iscHead = "authoring-byte-order little-endian;\n"

func TestRead(t *testing.T) {
	addr := netip.MustParseAddr
	ten, eleven := addr("203.0.113.70"), addr("203.0.113.71")
	keaHead := "address,hwaddr,client_id,valid_lifetime,expire,subnet_id,fqdn_fwd,fqdn_rev,hostname,state,user_context,pool_id\n"
	tests := map[string]struct {
		text   string
		server string
		want   []lease.Lease
		end    string
		bad    int
	}{
		"empty": {end: "complete"},
		"dnsmasq": {"1772460000 00:00:5e:00:53:31 203.0.113.70 slip-cam 01:00:00:5e:00:53:31\n0 06-00:00:5e:00:53:32 203.0.113.71 * *\n" +
			"duid 00:01:00:01:2a:00:00:00:00:00:5e:00:53:fe\n1772460000 12345 2001:db8::70 six 00:03:00:01:00:00:5e:00:53:33\n1772460000 T5 2001:db8::71 * ff\n",
			"dnsmasq", []lease.Lease{{Addr: ten, MAC: mac(0x31), Name: "slip-cam", Expires: at(1772460000)}, {Addr: eleven},
				{Addr: addr("2001:db8::70"), MAC: mac(0x33), Name: "six", Expires: at(1772460000)},
				{Addr: addr("2001:db8::71"), Expires: at(1772460000)}}, "complete", 0},
		"dnsmasq with garbage, cut off": {"1 00:00:5e:00:53:31 203.0.113.70 a *\nx y z\n-5 00:00:5e:00:53:31 203.0.113.72 a *\n1 00:00:5e:00:53:31 203.0.113.7",
			"dnsmasq", []lease.Lease{{Addr: ten, MAC: mac(0x31), Name: "a", Expires: at(1)}}, "partial", 3},
		"isc: the last entry counts, comments, strings": {iscHead +
			"# a } comment\nlease 203.0.113.70 { ends never; binding state active; hardware ethernet 00:00:5e:00:53:31; client-hostname \"a;}\\\"\\303\\251\"; }\n" +
			"lease 203.0.113.71 { ends epoch 1772460000; # Mon\n binding state active; }\nlease 203.0.113.71 { binding state expired; }\nlease 203.0.113.71 { ends epoch 1772460001; binding state active; on release { set x = \"y\"; } }\n",
			"isc", []lease.Lease{{Addr: ten, MAC: mac(0x31), Name: "a;}\"é"}, {Addr: eleven, Expires: at(1772460001)}}, "complete", 0},
		"isc cut off": {iscHead + "lease 203.0.113.70 { ends never; binding state active; }\nlease 203.0.113.71 { ends never; binding state act",
			"isc", []lease.Lease{{Addr: ten}}, "partial", 1},
		"isc with a bad time and a bad address": {iscHead + "lease 203.0.113.70 { ends 5 soon; binding state active; }\nlease x { binding state active; }\nlease 203.0.113.71 { binding state active; }\n",
			"isc", []lease.Lease{{Addr: eleven}}, "partial", 2},
		"isc without end of a string": {iscHead + "lease 203.0.113.70 { uid \"", "isc", nil, "partial", 1},
		"isc nested too deeply":       {iscHead + strings.Repeat("a {", 100_000), "isc", nil, "partial", 1},
		"kea: states, for ever, comma": {keaHead + "203.0.113.70,00:00:5e:00:53:31,,4294967295,5,1,0,0,a&#x2cb&#xZZ&#x,0,,0\n203.0.113.71,,,600,1772460000,1,0,0,,1,,0\n",
			"kea", []lease.Lease{{Addr: ten, MAC: mac(0x31), Name: "a,b&#xZZ&#x"}}, "complete", 0},
		"kea with garbage, cut off": {keaHead + "203.0.113.70,,,600,1772460000,1,0,0,,0,,0\nx\n203.0.113.71,,,x,1,1\n203.0.113.71,,,600,1772460000,1,0,0,,0,,",
			"kea", []lease.Lease{{Addr: ten, Expires: at(1772460000)}}, "partial", 3},
		"kea: a prefix is no address": {"address,duid,valid_lifetime,expire,lease_type,state\n2001:db8:5::,,600,5,2,0\n", "kea", nil, "complete", 0},
		"something else":              {"#!/bin/sh\necho 1 2 3 4\n", "", nil, "no-answer", 0},
		"one word":                    {"x", "", nil, "no-answer", 0},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "leases")
			if err := os.WriteFile(path, []byte(test.text), 0o600); err != nil {
				t.Fatal(err)
			}
			got := lease.Read(path, lease.Options{})
			if got.Server != test.server || got.End != test.end || got.Malformed != test.bad || (got.Why == "") != (test.end == "complete") {
				t.Errorf("%q, %s %q, %d malformed; want %q, %s, %d", got.Server, got.End, got.Why, got.Malformed, test.server, test.end, test.bad)
			}
			if !reflect.DeepEqual(got.Leases, test.want) {
				t.Errorf("got  %+v\nwant %+v", got.Leases, test.want)
			}
		})
	}
}

func TestBounds(t *testing.T) {
	dir := t.TempDir()
	var text strings.Builder
	for i := range 50 {
		fmt.Fprintf(&text, "1 00:00:5e:00:53:31 203.0.113.%d %s *\n", i, strings.Repeat("n", 1000))
	}
	path := filepath.Join(dir, "many")
	if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	got := lease.Read(path, lease.Options{Most: 20})
	if len(got.Leases) != 20 || got.Overflow != 30 || got.End != "partial" || len(got.Leases[0].Name) != 255 {
		t.Errorf("%d leases, %d over, %s, name of %d octets", len(got.Leases), got.Overflow, got.End, len(got.Leases[0].Name))
	}
	big := filepath.Join(dir, "big")
	if err := os.WriteFile(big, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(big, 33<<20); err != nil {
		t.Fatal(err)
	}
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{big: "larger than 32 MiB", pipe: "no regular file", dir: "no regular file",
		filepath.Join(dir, "none"): "no such file"} {
		if got := lease.Read(path, lease.Options{}); got.End != "no-answer" || !strings.Contains(got.Why, says) {
			t.Errorf("%s: %s %q, want no-answer with %q", path, got.End, got.Why, says)
		}
	}
}
