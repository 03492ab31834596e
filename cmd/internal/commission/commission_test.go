package commission_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"boundwalk/cmd/internal/commission"
	"boundwalk/cmd/internal/report"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

var (
	noon  = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	mac31 = inventory.MAC{0, 0, 0x5e, 0, 0x53, 0x31}
	mac32 = inventory.MAC{0, 0, 0x5e, 0, 0x53, 0x32}
)

func yard() *inventory.Plan {
	p := &inventory.Plan{Site: inventory.Site{Name: "Tern Quay"},
		Networks: []inventory.Network{{Name: "cameras", Subnet: netip.MustParsePrefix("203.0.113.128/26"), VLAN: 20, Unknown: inventory.UnknownUrgent}},
		Devices: []inventory.Device{
			{Name: "quay-switch", Role: inventory.Switch, Access: "yard", Ports: 8, Feeds: inventory.Feed{Standard: poe.AT}, Budget: 60000},
			{Name: "slip-cam", Role: inventory.Camera, MACs: []inventory.MAC{mac31}, Addresses: []netip.Addr{netip.MustParseAddr("203.0.113.131")},
				At: inventory.PortRef{Device: "quay-switch", Port: "5"}, Class: poe.Class3, Draws: inventory.Draws{Most: 11000}},
		}}
	p.Index()
	return p
}

// scene is a snapshot of the switch's ports 5 and 6, changed by those given.
func scene(change ...func(*inventory.Snapshot)) *inventory.Snapshot {
	s := &inventory.Snapshot{Finished: noon, Devices: []inventory.SeenDevice{{Name: "quay-switch", Planned: true, Presence: inventory.Present},
		{Name: "slip-cam", Planned: true, Presence: inventory.Absent}}}
	for _, port := range []string{"5", "6"} {
		s.Ports = append(s.Ports, inventory.PortState{Switch: "quay-switch", Port: port, Up: new(false), Power: &inventory.PortPower{State: inventory.PSESearching}})
	}
	for _, f := range change {
		f(s)
	}
	return s
}

// powered lights a port: class 3, and a draw where it is above zero.
func powered(port string, draw inventory.Power) func(*inventory.Snapshot) {
	return func(s *inventory.Snapshot) {
		for i := range s.Ports {
			if p := &s.Ports[i]; p.Port == port {
				p.Up, p.Speed = new(true), 1e8
				p.Power = &inventory.PortPower{State: inventory.PSEDelivering, Class: poe.Class3, Grant: new(inventory.Power(15400)), DrawBasis: inventory.Measured}
				if draw > 0 {
					p.Power.Draw = &draw
				}
			}
		}
	}
}

func device(name, port, addr string, m inventory.MAC) func(*inventory.Snapshot) {
	return func(s *inventory.Snapshot) {
		d := inventory.SeenDevice{Name: name, Presence: inventory.Present, MACs: []inventory.MAC{m},
			Place: inventory.Place{Switch: "quay-switch", Port: port, Basis: inventory.ByFDB}}
		if addr != "" {
			d.Addrs = []netip.Addr{netip.MustParseAddr(addr)}
		}
		if i := slices.IndexFunc(s.Devices, func(o inventory.SeenDevice) bool { return o.Name == name }); i >= 0 {
			d.Planned = s.Devices[i].Planned
			s.Devices[i] = d
			return
		}
		s.Devices = append(s.Devices, d)
	}
}

// film shows one scene after another, the last for ever.
type film struct {
	scenes []*inventory.Snapshot
	signs  []string
	looks  int
	peeks  int
	sweeps int
}

func (f *film) look(_ context.Context, sweep bool) (*inventory.Snapshot, error) {
	if sweep {
		f.sweeps++
	}
	f.looks++
	return f.scenes[min(f.looks, len(f.scenes))-1], nil
}

func (f *film) peek(context.Context) map[string]string {
	f.peeks++
	if len(f.signs) == 0 {
		return map[string]string{"quay-switch port": "same"}
	}
	return map[string]string{"quay-switch port": f.signs[min(f.peeks, len(f.signs))-1]}
}

func watch(t *testing.T, f *film, name string) commission.Watched {
	t.Helper()
	var w commission.Watched
	synctest.Test(t, func(t *testing.T) {
		var err error
		w, err = commission.Watch(t.Context(), yard(), commission.Options{Name: name, Peek: f.peek, Look: f.look})
		if err != nil {
			t.Error(err)
		}
	})
	return w
}

// A camera comes as real ones do: power with its class, then its MAC address,
// then its address and its draw.
func TestWatchUntilItHasShownAll(t *testing.T) {
	f := &film{signs: []string{"off", "off", "on"}, scenes: []*inventory.Snapshot{
		scene(), scene(powered("5", 0)),
		scene(powered("5", 0), device("slip-cam", "5", "", mac31)),
		scene(powered("5", 0), device("slip-cam", "5", "203.0.113.131", mac31)),
		scene(powered("5", 5100), device("slip-cam", "5", "203.0.113.131", mac31))}}
	w := watch(t, f, "")
	if !slices.Equal(w.Arrived, []string{"slip-cam"}) || f.looks != 5 {
		t.Errorf("arrived %v after %d looks, want slip-cam after 5", w.Arrived, f.looks)
	}
	if f.sweeps > 5 {
		t.Errorf("%d sweeps", f.sweeps)
	}
	r := commission.Judge(yard(), w.After, "slip-cam", "", noon)
	if r.Failed() || state(r, "draw") != commission.Pass || state(r, "class") != commission.Pass {
		t.Errorf("%+v", r.Steps)
	}
}

// Nothing comes: it ends by its limit, without a sweep for each light read, and says what it watched.
func TestWatchNothing(t *testing.T) {
	f := &film{scenes: []*inventory.Snapshot{scene()}}
	w := watch(t, f, "")
	if took := w.Ended.Sub(w.Began); len(w.Arrived) > 0 || took < 5*time.Minute || took > 6*time.Minute {
		t.Errorf("arrived %v, after %s", w.Arrived, took)
	}
	if f.sweeps != 1 {
		t.Errorf("%d sweeps, want the first alone", f.sweeps)
	}
	r := commission.Nothing(yard(), w, noon)
	if !r.Failed() || !strings.Contains(r.Steps[0].Found, "2 ports of quay-switch") {
		t.Errorf("%+v", r.Steps)
	}
}

// Where nothing can be seen there is no use in waiting.
func TestWatchBlind(t *testing.T) {
	w := watch(t, &film{scenes: []*inventory.Snapshot{{}}}, "")
	if took := w.Ended.Sub(w.Began); took > time.Second {
		t.Errorf("waited %s", took)
	}
	if r := commission.Nothing(yard(), w, noon); !r.Failed() {
		t.Errorf("%+v", r)
	}
}

// The switch where the camera is to come is silent: only the network can show it.
func TestWatchSilentSwitch(t *testing.T) {
	quiet := func(change ...func(*inventory.Snapshot)) *inventory.Snapshot {
		s := scene(change...)
		s.Ports, s.Networks = nil, []inventory.NetworkState{{Name: "cameras", Looked: inventory.Complete, How: inventory.SourceARP}}
		return s
	}
	there := quiet(device("slip-cam", "", "203.0.113.131", mac31))
	there.Devices[1].Place = inventory.Place{}
	f := &film{scenes: []*inventory.Snapshot{quiet(), quiet(), there}}
	if w := watch(t, f, "slip-cam"); !slices.Equal(w.Arrived, []string{"slip-cam"}) || f.sweeps != 3 {
		t.Errorf("arrived %v, after %d sweeps", w.Arrived, f.sweeps)
	}
	f = &film{scenes: []*inventory.Snapshot{quiet()}}
	if r := commission.Nothing(yard(), watch(t, f, "slip-cam"), noon); !strings.Contains(r.Steps[0].Found, "the network cameras by arp") {
		t.Errorf("%+v", r.Steps)
	}
}

func TestWatchTwoAtOnce(t *testing.T) {
	f := &film{signs: []string{"off", "off", "on"}, scenes: []*inventory.Snapshot{scene(),
		scene(powered("5", 5100), device("slip-cam", "5", "203.0.113.131", mac31)),
		scene(powered("5", 5100), powered("6", 4000), device("slip-cam", "5", "203.0.113.131", mac31), device("00:00:5e:00:53:32", "6", "203.0.113.150", mac32))}}
	f.scenes[1].Devices[1].Addrs = nil // not settled yet, so that the second is seen
	if w := watch(t, f, ""); len(w.Arrived) != 2 {
		t.Errorf("arrived %v, want both", w.Arrived)
	}
}

// A printer that wakes elsewhere while a camera is plugged in is not what came.
func TestArrivalsOnWokenPortsOnly(t *testing.T) {
	after := scene(powered("6", 4000), device("new", "6", "203.0.113.150", mac32), func(s *inventory.Snapshot) {
		s.Devices = append(s.Devices, inventory.SeenDevice{Name: "printer", Presence: inventory.Present, MACs: []inventory.MAC{{2}},
			Place: inventory.Place{Switch: "quay-switch", Port: "1", Basis: inventory.ByFDB}})
	})
	if got := commission.Arrivals(yard(), scene(), after, ""); !slices.Equal(got, []string{"new"}) {
		t.Errorf("got %v", got)
	}
}

// In a named device's place stands another one.
func TestArrivalInItsPlace(t *testing.T) {
	after := scene(powered("5", 4000), device("stranger", "5", "203.0.113.131", mac32))
	got := commission.Arrivals(yard(), scene(), after, "slip-cam")
	if !slices.Equal(got, []string{"stranger"}) {
		t.Fatalf("got %v", got)
	}
	if r := commission.Judge(yard(), after, "stranger", "slip-cam", noon); state(r, "MAC address") != commission.Fail || state(r, "port") != commission.Pass {
		t.Errorf("%+v", r.Steps)
	}
}

// Power without a MAC address still ends with an answer.
func TestPortAlone(t *testing.T) {
	f := &film{signs: []string{"off", "off", "on"}, scenes: []*inventory.Snapshot{scene(), scene(powered("6", 4000))}}
	w := watch(t, f, "")
	r := commission.Nothing(yard(), w, noon)
	if !r.Failed() || !strings.Contains(r.Steps[0].Found, "on port 6 of quay-switch (class 3)") {
		t.Errorf("%+v", r.Steps)
	}
}

func TestWatchEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		f := &film{scenes: []*inventory.Snapshot{scene()}}
		if _, err := commission.Watch(ctx, yard(), commission.Options{Peek: f.peek, Look: f.look}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v", err)
		}
	})
}

// FC-20: the switch knows of a device that has no address here.
func TestFC20Sentence(t *testing.T) {
	for name, c := range map[string]struct {
		foreign []netip.Addr
		want    string
	}{
		"no word of an address": {nil, "a device is on port 6 of quay-switch (class 3, MAC 00:00:5e:00:53:31), it has no address in this network; perhaps factory or self-assigned"},
		"a factory address": {[]netip.Addr{netip.MustParseAddr("198.51.100.108")},
			"a device is on port 6 of quay-switch (class 3, MAC 00:00:5e:00:53:31), it has no address in this network; it speaks as 198.51.100.108, perhaps its factory address"},
		"self-assigned": {[]netip.Addr{netip.MustParseAddr("169.254.7.9")},
			"a device is on port 6 of quay-switch (class 3, MAC 00:00:5e:00:53:31), it has no address in this network but the self-assigned 169.254.7.9: DHCP did not answer"},
	} {
		snap := scene(powered("6", 0), device("00:00:5e:00:53:31", "6", "", mac31))
		snap.Devices[2].Foreign = c.foreign
		r := commission.Judge(&inventory.Plan{}, snap, "00:00:5e:00:53:31", "", noon)
		i := slices.IndexFunc(r.Steps, func(s commission.Step) bool { return s.What == "address" })
		if i < 0 || r.Steps[i].Found != c.want || r.Steps[i].State != commission.Fail {
			t.Errorf("%s: %+v", name, r.Steps)
		}
	}
}

func state(r commission.Record, what string) commission.State {
	for _, s := range r.Steps {
		if s.What == what {
			return s.State
		}
	}
	return ""
}

// Device text breaks out of no form, and JSON has the steps.
func TestRecordForms(t *testing.T) {
	snap := scene(powered("6", 4000), device("x", "6", "203.0.113.150", mac32))
	snap.Devices[2].Hostname = "<script>alert(1)</script>"
	r := commission.Judge(yard(), snap, "x", "", noon)
	r.Entry = "  x: {}\n"
	var page, text bytes.Buffer
	if err := errors.Join(commission.HTML(&page, []commission.Record{r}, time.UTC),
		commission.Text(&text, []commission.Record{r}, time.UTC, report.Style{})); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(page.String(), "<script>") || !strings.Contains(page.String(), "Confidential") {
		t.Errorf("%s", page.String())
	}
	for _, want := range []string{"x at quay-switch/6, not in the plan", "For the plan:", "unknown factory login: not checked: an unknown device is never tried"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("no %q in:\n%s", want, text.String())
		}
	}
	b, err := json.Marshal(r)
	if err != nil || !strings.Contains(string(b), `"what":"port","state":"pass"`) {
		t.Errorf("%v %s", err, b)
	}
}
