package yard

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/mdlayher/packet"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
)

// A forger is a raw socket on a host's cable, which answers ARP requests as a
// script says, in whatever names it likes.
type forger struct {
	conn   *packet.Conn
	script func(target byte) [][]byte // the last octet of the address asked for
	gap    time.Duration              // between two frames of one answer
}

// forge takes the address off a host, so that its kernel is silent, and answers
// by the script from then on.
func forge(t *testing.T, host *netns.Namespace, gap time.Duration, script func(target byte) [][]byte) {
	t.Helper()
	host.Exec("ip", "addr", "flush", "dev", "eth0")
	f := &forger{script: script, gap: gap}
	var err error
	host.Do(func() {
		var eth *net.Interface
		if eth, err = net.InterfaceByName("eth0"); err == nil {
			f.conn, err = packet.Listen(eth, packet.Raw, 0x0806, nil) // ARP, RFC 826
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(f.answer)
	t.Cleanup(func() {
		f.conn.Close()
		wg.Wait()
	})
}

func (f *forger) answer() {
	b := make([]byte, 256)
	for {
		n, _, err := f.conn.ReadFrom(b)
		if err != nil {
			return
		}
		if n < 42 || b[21] != 1 { // no request
			continue
		}
		for i, frame := range f.script(b[41]) {
			time.AfterFunc(time.Duration(i)*f.gap, func() {
				f.conn.WriteTo(frame, &packet.Addr{HardwareAddr: net.HardwareAddr(frame[:6])}) //nolint:errcheck // the test misses it then
			})
		}
	}
}

// Operations of RFC 826.
const (
	request = 1
	reply   = 2
)

// arpFrame is an ARP packet by RFC 826 for all, padded to the 60 octets of Ethernet.
func arpFrame(op uint16, mac byte, sender, target string) []byte {
	hw := []byte{0, 0, 0x5e, 0, 0x53, mac}
	b := append(make([]byte, 0, 60), 0xff, 0xff, 0xff, 0xff, 0xff, 0xff)
	b = append(b, hw...)
	b = append(b, 8, 6, 0, 1, 8, 0, 6, 4)
	b = binary.BigEndian.AppendUint16(b, op)
	b = append(append(b, hw...), netip.MustParseAddr(sender).AsSlice()...)
	b = append(append(b, make([]byte, 6)...), netip.MustParseAddr(target).AsSlice()...)
	return append(b, make([]byte, 60-len(b))...)
}

func claim(mac, host byte) []byte {
	return arpFrame(reply, mac, fmt.Sprintf("203.0.113.%d", host), hostAddr(auditor).Addr().String())
}

// FC-17: two machines answer for one address, 40 ms apart: one conflict, with
// both; no device that was replaced, none that is unknown.
func TestFC17TwoForOneAddress(t *testing.T) {
	y := newYard(t, 11, 20)
	y.planWith("", "", 11)
	forge(t, y.hosts[11], 40*time.Millisecond, func(target byte) [][]byte {
		if target == 11 {
			return [][]byte{claim(11, 11), claim(12, 11)}
		}
		return nil
	})
	for range 2 { // and it stays one finding
		r := y.Run()
		if got, want := r.Keys(), []string{"address-conflict/203.0.113.11", "unknown-device/" + hostMAC(20)}; !slices.Equal(got, want) {
			t.Errorf("findings %v, want %v", got, want)
		}
		f := r.Finding("address-conflict/203.0.113.11")
		if f.Severity != "urgent" || !strings.Contains(f.Observed, hostMAC(11)) || !strings.Contains(f.Observed, hostMAC(12)) {
			t.Errorf("the conflict is %+v", f)
		}
	}
}

// Control of FC-17: the next run meets another machine at the address, and only
// that: it was replaced, and there is no conflict.
func TestFC17ReplacedIsNoConflict(t *testing.T) {
	y := newYard(t, 11)
	y.planWith("", "", 11)
	var mu sync.Mutex
	mac := byte(11)
	forge(t, y.hosts[11], 0, func(target byte) [][]byte {
		mu.Lock()
		defer mu.Unlock()
		if target == 11 {
			return [][]byte{claim(mac, 11)}
		}
		return nil
	})
	if got := y.Run().Keys(); len(got) != 0 {
		t.Fatalf("first run: %v, want none", got)
	}
	mu.Lock()
	mac = 12
	mu.Unlock()
	if got, want := y.Run().Keys(), []string{"replaced-device/host-11"}; !slices.Equal(got, want) {
		t.Errorf("second run: %v, want %v", got, want)
	}
}

// FC-18: a router answers for every address that nobody has: one finding, and
// the devices that are there.
func TestFC18ProxyARP(t *testing.T) {
	y := newYard(t, 11, 12, 13, 20)
	y.planWith("", "", 11, 12, 13)
	real := []byte{2, auditor, 11, 12, 13}
	forge(t, y.hosts[20], 0, func(target byte) [][]byte {
		if slices.Contains(real, target) {
			return nil
		}
		return [][]byte{claim(20, target)}
	})
	r := y.Run()
	if len(r.Keys()) != 1 || !strings.HasPrefix(r.Keys()[0], "proxy-arp/") {
		t.Fatalf("findings %v, want one proxy-arp", r.Keys())
	}
	if f := r.Findings[0]; !strings.Contains(f.Observed, "25") {
		t.Errorf("it does not count the 25 addresses: %+v", f)
	}
	for name, d := range y.Devices() {
		if !d.Planned && d.MACs[0] != hostMAC(20) {
			t.Errorf("a device that is not there: %s %+v", name, d)
		}
	}
	text, _, _ := y.Output("run")
	if n := strings.Count(text, "\n"); n >= 30 {
		t.Errorf("the report takes %d lines, want fewer than 30", n)
	}
}

// Variant of FC-18: an access point answers for five of its sleeping clients.
// That is below the limit: nobody is a proxy, and nobody is merged.
func TestFC18FewSleepers(t *testing.T) {
	y := newYard(t, 11, 20)
	y.planWith("", "", 11)
	forge(t, y.hosts[20], 0, func(target byte) [][]byte {
		if target >= 21 && target <= 25 {
			return [][]byte{claim(20, target)}
		}
		return nil
	})
	r := y.Run()
	if got, want := r.Keys(), []string{"unknown-device/" + hostMAC(20)}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	if d := y.Devices()["host-11"]; d.Presence != "present" || len(d.Addresses) != 1 {
		t.Errorf("the planned one is %+v", d)
	}
}

// FC-19: frames that are no ARP, and ones cut short, between good answers: both
// good devices are found, the bad frames counted, and the sweep is complete.
func TestFC19MalformedFrames(t *testing.T) {
	y := newYard(t, 11)
	y.planWith("", "  # the second stands on the same cable\n", 11)
	odd, err := hex.DecodeString("00005e0053fe00005e0053110806000108000606000200005e005311c000024000005e0053fec0000205" + strings.Repeat("00", 18))
	if err != nil {
		t.Fatal(err)
	}
	forge(t, y.hosts[11], 5*time.Millisecond, func(target byte) [][]byte {
		switch target {
		case 11:
			return [][]byte{claim(11, 11), broadcast(odd), claim(11, 11)[:34], claim(12, 12)}
		case 12:
			return [][]byte{claim(12, 12)}
		}
		return nil
	})
	r := y.Run()
	if got, want := r.Keys(), []string{"unknown-device/" + hostMAC(12)}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	if got := r.Looked("yard", "arp"); !strings.HasPrefix(got, "complete") || !strings.Contains(got, "malformed") {
		t.Errorf("the sweep ended %q, want complete with the malformed frames counted", got)
	}
	for _, name := range []string{"host-11", "server", "yard-switch"} {
		if d := y.Devices()[name]; d.Presence != "present" {
			t.Errorf("%s is %+v", name, d)
		}
	}
}

// broadcast sends a recorded frame to all.
func broadcast(frame []byte) []byte {
	return append([]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, frame[6:]...)
}

// FC-19: the interface has no address when the run starts, and gets it later:
// the run waits for it and succeeds.
func TestFC19AddressComesLate(t *testing.T) {
	y := newYard(t, 11)
	y.planWith("", "", 11)
	y.In.Exec("ip", "addr", "flush", "dev", "eth0")
	r := y.Run()
	if got := r.Keys(); len(got) != 0 && !slices.Equal(got, []string{"could-not-look/yard"}) {
		t.Errorf("without an address it finds %v", got)
	}
	for _, name := range []string{"host-11", "yard-switch"} {
		if d := y.Devices()[name]; d.Presence != "not-looked" {
			t.Errorf("without an address %s is %q, want not-looked", name, d.Presence)
		}
	}
	y.In.Address("eth0", hostAddr(auditor))
	y.Run()
	if d := y.Devices()["host-11"]; d.Presence != "present" {
		t.Errorf("with the address it is %+v", d)
	}
}

// FC-20: what was just added has a factory address outside the network, or gave
// itself one: it is heard, and said so, though no sweep finds it. A probe's
// sender 0.0.0.0 becomes no address.
func TestFC20AddressOutside(t *testing.T) {
	for _, c := range []struct{ name, sender, words string }{
		{"factory", "198.51.100.108", "198.51.100.108"},
		{"self-assigned", "169.254.7.9", "DHCP"},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := newYard(t, 11, 0x31)
			y.planWith("", "", 11)
			forge(t, y.hosts[0x31], 0, func(target byte) [][]byte {
				return [][]byte{arpFrame(request, 0x31, c.sender, "198.51.100.1"), arpFrame(request, 0x31, "0.0.0.0", c.sender)}
			})
			r := y.Run()
			var f program.Finding
			for _, x := range r.Findings {
				if strings.HasSuffix(x.Key, hostMAC(0x31)) {
					f = x
				}
			}
			if len(r.Keys()) != 1 || !strings.Contains(f.Observed+f.Advice, c.words) || strings.Contains(f.Observed, "0.0.0.0") {
				t.Errorf("findings %v; of the new one: %+v", r.Keys(), f)
			}
			for _, d := range y.Devices() {
				if slices.Contains(d.Addresses, "0.0.0.0") {
					t.Errorf("a probe's sender became an address: %+v", d)
				}
			}
		})
	}
}
