package accept_test

import (
	"errors"
	"net/netip"
	"strings"
	"testing"

	"boundwalk/cmd/internal/accept"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

const quay = `site: {name: Tern Quay}
networks:
  yard: {subnet: 203.0.113.0/25}
  berths: {subnet: 198.51.100.0/24, unknown: count}
access: {yard: {snmp: v2c, community: file:yard.community}}
devices:
  quay-switch: {role: switch, address: 203.0.113.2, access: yard, ports: 8, spare: [7, 8]}
  gate-cam: {role: camera, mac: "00:00:5e:00:53:32", address: 203.0.113.32, at: quay-switch/6, serial: A1}
  hut-injector: {role: injector, feeds: {passive: 24 V, plus: [4, 5], minus: [7, 8]}}
  quay-radio: {role: radio, mac: ["00:00:5e:00:53:51", "02:00:5e:00:53:51"], at: quay-switch/3, via: hut-injector, tagged: 10}
`

func mac(n byte) inventory.MAC { return inventory.MAC{0, 0, 0x5e, 0, 0x53, n} }

func about(kind diff.Kind, subject, where string, macs ...inventory.MAC) diff.Finding {
	f := diff.New(kind, subject)
	f.Where, f.MACs = where, macs
	return f
}

func placed(port string, basis inventory.Basis) inventory.Place {
	return inventory.Place{Switch: "quay-switch", Port: port, Basis: basis}
}

// stranger is a device that no plan names, as the last run saw it.
func stranger(p inventory.Place, addrs ...string) inventory.SeenDevice {
	s := inventory.SeenDevice{Name: mac(0x66).String(), MACs: []inventory.MAC{mac(0x66)}, Role: inventory.Camera, Hostname: "Bow Cam", Place: p}
	for _, a := range addrs {
		s.Addrs = append(s.Addrs, netip.MustParseAddr(a))
	}
	return s
}

var unknown = about(diff.UnknownDevice, mac(0x66).String(), "", mac(0x66))

var takes = []struct {
	name       string
	finding    diff.Finding
	seen       []inventory.SeenDevice
	ports      []inventory.PortState
	as         string
	what, note string
	err        string
}{
	{name: "a moved device", finding: about(diff.MovedDevice, "gate-cam", "quay-switch/5"), what: "gate-cam at quay-switch/5"},
	{name: "a device moved without a port", finding: about(diff.MovedDevice, "gate-cam", ""), err: "moved-device/gate-cam: the finding names no port"},
	{name: "onto another's port", finding: about(diff.MovedDevice, "gate-cam", "quay-switch/3"), what: "gate-cam at quay-switch/3",
		note: "the plan has quay-radio at quay-switch/3 too"},
	{name: "a passive lead may stay live", finding: about(diff.MovedDevice, "quay-radio", "quay-switch/5"), what: "quay-radio at quay-switch/5",
		note: "its injector's lead may still be live"},
	{name: "a replaced device with a serial number", finding: about(diff.ReplacedDevice, "gate-cam", "", mac(0x3a)),
		what: "gate-cam with the MAC address 00:00:5e:00:53:3a", note: "serial number"},
	{name: "a replaced device without an address", finding: about(diff.ReplacedDevice, "gate-cam", ""), err: "names no MAC address"},
	{name: "two MACs for two", finding: about(diff.ReplacedDevice, "quay-radio", "", mac(0x55), mac(0x56)),
		what: "quay-radio with the MAC address 00:00:5e:00:53:55, 00:00:5e:00:53:56"},
	{name: "another address", finding: about(diff.AddressDiffers, "gate-cam", ""),
		seen: []inventory.SeenDevice{{Name: "gate-cam", Addrs: []netip.Addr{netip.MustParseAddr("fe80::1"), netip.MustParseAddr("203.0.113.40"),
			netip.MustParseAddr("203.0.113.41")}}},
		what: "gate-cam at 203.0.113.40", note: "it has 2 addresses"},
	{name: "an address in no network", finding: about(diff.WrongNetwork, "gate-cam", ""),
		seen: []inventory.SeenDevice{{Name: "gate-cam", Foreign: []netip.Addr{netip.MustParseAddr("192.0.2.20")}}},
		err:  "192.0.2.20 lies in no network of the plan"},
	{name: "no address any more", finding: about(diff.AddressDiffers, "gate-cam", ""), seen: []inventory.SeenDevice{{Name: "gate-cam"}},
		err: "saw no address of it"},
	{name: "not seen in the last run", finding: about(diff.AddressDiffers, "gate-cam", ""), err: "the last run did not see it"},
	{name: "an unknown device on a spare port", finding: unknown,
		seen: []inventory.SeenDevice{stranger(placed("8", inventory.ByFDB), "203.0.113.66")}, what: "bow-cam, new: 00:00:5e:00:53:66 at quay-switch/8"},
	{name: "by the name that is given", finding: unknown, as: "slip-cam", seen: []inventory.SeenDevice{stranger(placed("8", inventory.ByLLDP))},
		what: "slip-cam, new: 00:00:5e:00:53:66 at quay-switch/8"},
	{name: "an address of a network that is only counted is not kept", finding: unknown,
		seen: []inventory.SeenDevice{stranger(placed("5", inventory.ByFDB), "198.51.100.7")}, what: "bow-cam, new: 00:00:5e:00:53:66 at quay-switch/5"},
	{name: "seen on another's port", finding: unknown, seen: []inventory.SeenDevice{stranger(placed("6", inventory.ByFDB))},
		what: "bow-cam, new: 00:00:5e:00:53:66", note: "it was seen at quay-switch/6, where the plan has gate-cam"},
	{name: "a place that is only remembered", finding: unknown, seen: []inventory.SeenDevice{stranger(placed("5", inventory.Remembered))},
		what: "bow-cam, new: 00:00:5e:00:53:66", note: "say where it hangs (at)"},
	{name: "an unknown device that is gone", finding: unknown, err: "the last run did not see it"},
	{name: "another VLAN beside tagged ones", finding: about(diff.WrongVLAN, "quay-switch/3", ""),
		ports: []inventory.PortState{{Switch: "quay-switch", Port: "3", VLAN: 20, VLANKnown: true}}, what: "quay-radio in VLAN 20",
		note: "tagged VLANs were left"},
	{name: "a VLAN that was not read", finding: about(diff.WrongVLAN, "quay-switch/6", ""),
		ports: []inventory.PortState{{Switch: "quay-switch", Port: "6"}}, err: "did not read its VLAN"},
	{name: "a port without a device", finding: about(diff.WrongVLAN, "quay-switch/5", ""),
		ports: []inventory.PortState{{Switch: "quay-switch", Port: "5"}}, err: "the plan has no device at quay-switch/5"},
	{name: "a port that is gone", finding: about(diff.ClassDiffers, "quay-switch/6", ""), err: "the last run knows no port quay-switch/6"},
	{name: "a class that was not read", finding: about(diff.ClassDiffers, "quay-switch/6", ""),
		ports: []inventory.PortState{{Switch: "quay-switch", Port: "6"}}, err: "did not read its class"},
}

func TestTake(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", []byte(quay))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range takes {
		t.Run(c.name, func(t *testing.T) {
			got, err := accept.Take(f.Plan, &inventory.Snapshot{Devices: c.seen, Ports: c.ports}, c.finding, c.as)
			switch {
			case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
				t.Errorf("got %v, want an error with %q", err, c.err)
			case c.err == "" && (err != nil || got.What != c.what || got.Key != c.finding.Key || !strings.Contains(got.Note, c.note) ||
				c.note == "" && got.Note != ""):
				t.Errorf("got %q, note %q, %v; want %q, note %q", got.What, got.Note, err, c.what, c.note)
			}
		})
	}
}

// A finding that no plan can take says what to do instead.
func TestNothingToTake(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", []byte(quay))
	if err != nil {
		t.Fatal(err)
	}
	for kind, want := range map[diff.Kind]string{
		diff.MissingDevice: "take its entry out of the plan by hand", diff.Restarted: "goes by itself", diff.FirmwareChanged: "goes by itself",
		diff.ClockOff: "do what it advises, or hush it", diff.AddressConflict: "do what it advises, or hush it",
	} {
		_, err := accept.Take(f.Plan, &inventory.Snapshot{}, diff.New(kind, "gate-cam"), "")
		if !errors.Is(err, accept.ErrNothing) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want words with %q", kind, err, want)
		}
	}
}

// The errors of all findings come at once; nothing is taken of the good ones alone.
func TestAllErrors(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", []byte(quay))
	if err != nil {
		t.Fatal(err)
	}
	_, err = accept.All(f.Plan, &inventory.Snapshot{}, []diff.Finding{diff.New(diff.ClockOff, "a"),
		about(diff.MovedDevice, "gate-cam", "quay-switch/5"), diff.New(diff.MissingDevice, "b")}, "")
	if err == nil || !strings.Contains(err.Error(), "clock-off/a") || !strings.Contains(err.Error(), "missing-device/b") {
		t.Errorf("got %v", err)
	}
}

// Accepting what is in the plan already changes nothing.
func TestTakeTwice(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", []byte(quay))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []diff.Finding{about(diff.MovedDevice, "gate-cam", "quay-switch/6"), about(diff.ReplacedDevice, "gate-cam", "", mac(0x32)),
		about(diff.ReplacedDevice, "quay-radio", "", mac(0x51), inventory.MAC{2, 0, 0x5e, 0, 0x53, 0x51}), about(diff.UnknownDevice, "x", "", mac(0x32))} {
		snap := &inventory.Snapshot{Devices: []inventory.SeenDevice{{Name: "x", MACs: []inventory.MAC{mac(0x32)}}}}
		got, err := accept.Take(f.Plan, snap, x, "")
		if err != nil {
			t.Errorf("%s: %v", x.Key, err)
			continue
		}
		if text, err := f.Edit(got.Changes...); err != nil || string(text) != quay {
			t.Errorf("%s: %v\n%s", x.Key, err, text)
		}
	}
}
