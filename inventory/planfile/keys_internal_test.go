package planfile

import (
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

func readFull(t *testing.T) (*File, string) {
	t.Helper()
	b, err := os.ReadFile("testdata/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, err := Parse("full.yaml", b)
	if err != nil {
		t.Fatal(err)
	}
	return f, string(b)
}

// Every field of the plan's types must be reachable from the file, or it is
// dead; full.yaml sets each one.
func TestEveryFieldIsReachable(t *testing.T) {
	f, _ := readFull(t)
	set := map[string]bool{}
	var all []string
	var walk func(v reflect.Value, path string)
	walk = func(v reflect.Value, path string) {
		switch {
		case v.Kind() == reflect.Pointer && v.Type().Elem().PkgPath() == "boundwalk/inventory":
			if !v.IsNil() {
				walk(v.Elem(), path)
			}
		case v.Kind() == reflect.Slice || v.Kind() == reflect.Array && v.Type().Elem().Kind() != reflect.Uint8:
			for i := range v.Len() {
				walk(v.Index(i), path)
			}
		case v.Kind() == reflect.Struct && strings.HasPrefix(v.Type().PkgPath(), "boundwalk/"):
			for i := range v.NumField() {
				if !v.Type().Field(i).IsExported() {
					continue
				}
				p := v.Type().Name() + "." + v.Type().Field(i).Name
				if !slices.Contains(all, p) {
					all = append(all, p)
				}
				if !v.Field(i).IsZero() {
					set[p] = true
				}
				walk(v.Field(i), p)
			}
		}
	}
	walk(reflect.ValueOf(*f.Plan), "")
	for _, p := range all {
		if !set[p] {
			if _, on := strings.CutPrefix(p, "Sources."); !on { // the next test's: they are on, and switched off
				t.Errorf("%s is set by no key of full.yaml", p)
			}
		}
	}
	if len(all) < 120 {
		t.Errorf("only %d fields were walked", len(all))
	}
}

// A switch is on by default: full.yaml must show that off is read too.
func TestDefaultsCanBeSwitchedOff(t *testing.T) {
	f, _ := readFull(t)
	if s := f.Plan.Sources; s.MDNS || s.WSDiscovery || s.ReverseDNS || s.Echo || s.Clocks {
		t.Errorf("sources that were switched off are on: %+v", s)
	}
}

func TestEveryKeyIsInTheFullPlan(t *testing.T) {
	_, text := readFull(t)
	check := func(what string, names []string) {
		for _, n := range names {
			if !strings.Contains(text, n+": ") && !strings.Contains(text, n+":\n") {
				t.Errorf("%s: the key %s is not in full.yaml", what, n)
			}
		}
	}
	check("plan", planKeys.names())
	check("network", networkKeys.names())
	check("access", accessKeys.names())
	check("device", deviceKeys.names())
	check("link", linkKeys.names())
	check("service", serviceKeys.names())
	check("mail", mailKeys.names())
	check("login", factoryKeys.names())
	check("feed", feedKeys.names())
	check("port", portPlanKeys.names())
	check("run", runKeys.names())
	check("object", objectKeys.names())
}

func TestKindsAreThoseOfDiff(t *testing.T) {
	var want []string
	for _, k := range diff.Kinds() {
		want = append(want, string(k))
	}
	slices.Sort(want)
	if got := slices.Sorted(slices.Values(kinds)); !slices.Equal(got, want) {
		t.Errorf("kinds %q, want %q", got, want)
	}
}

// What full.yaml says, where it is more than a copy.
func TestFullPlanIsReadRight(t *testing.T) {
	f, _ := readFull(t)
	p := f.Plan
	cam, _ := p.Device("cam")
	core, _ := p.Device("core")
	stub, _ := p.Device("stub")
	near, _ := p.Device("near")
	ups, _ := p.Device("ups")
	for _, c := range []struct {
		name      string
		got, want any
	}{
		{"a model's key shows through", cam.Role, inventory.Camera},
		{"own, model's and site's cable together", cam.Cable, inventory.CableRun{CableSpec: inventory.CableSpec{Gauge: 23, Conductor: "copper"},
			Label: "C05", Length: 62, Celsius: 60, Bundle: 6, Outdoor: true}},
		{"the site's cable alone", stub.Cable, inventory.CableRun{CableSpec: inventory.CableSpec{Gauge: 24, Conductor: "cca", Stranded: true}}},
		{"a model's number of ports beside own words on ports", core.Ports, 8},
		{"a port's row in the PSE table", core.PortPlan("1").PSE, "1.1"},
		{"an object's scale reaches the base unit", near.Objects[0].Scale, 100.0},
		{"a scale of its own", near.Objects[1].Scale, 0.1},
		{"a charge at a voltage is an energy", ups.UPS.Battery, 216.0},
		{"two MACs in two styles", cam.MACs, []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 0x31}, {2, 0, 0x5e, 0, 0x53, 0x31}}},
		{"a zone", p.Site.Location.String(), "Europe/Dublin"},
		{"a mail server's usual port", p.Service.Mail.Server, "mail.example.net:465"},
		{"seasons", cam.Away, []inventory.Season{{From: time.November, To: time.March}, {From: time.July, To: time.July}}},
		{"the same obstacle twice", p.Links[0].Through, []string{"brick wall", "brick wall"}},
		{"no protocol is none", p.Access[2].Auth + p.Access[2].Privacy, "nonenone"},
		{"a line for words to people", cam.Line, strings.Count(textBefore(f, "\n  cam:"), "\n") + 2},
	} {
		if !reflect.DeepEqual(c.got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, c.got, c.want)
		}
	}
}

func textBefore(f *File, s string) string { return string(f.src[:strings.Index(string(f.src), s)]) }
