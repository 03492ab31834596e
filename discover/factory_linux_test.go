package discover_test

import (
	"net/netip"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover"
	"boundwalk/inventory"
)

// The plan's further ranges are looked into on the attached network that names
// them, and nowhere else: what is too large, another network or left alone is not.
func TestFactoryRanges(t *testing.T) {
	if netns.Inside() {
		factoryRanges(t)
		return
	}
	t.Parallel()
	here, camera := netns.New(t), netns.New(t)
	netns.Veth(here, "eth0", camera, "eth0")
	here.Address("eth0", netip.MustParsePrefix("203.0.113.9/28"))
	camera.MAC("eth0", "00:00:5e:00:53:31")
	camera.Address("eth0", netip.MustParsePrefix("198.51.100.8/28"), netip.MustParsePrefix("198.51.100.9/28"))
	camera.Exec("ip", "route", "add", "default", "via", "198.51.100.1")
	here.Rerun(t)
}

func factoryRanges(t *testing.T) {
	prefix := netip.MustParsePrefix
	plan := &inventory.Plan{LeaveAlone: []netip.Addr{netip.MustParseAddr("198.51.100.9")}, Networks: []inventory.Network{
		{Name: "yard", Subnet: prefix("203.0.113.0/28"), Probe: []netip.Prefix{prefix("198.51.100.0/28"), prefix("10.0.0.0/16"), prefix("203.0.113.32/28")}},
		{Name: "berths", Subnet: prefix("203.0.113.32/28"), Unknown: inventory.UnknownCount, Probe: []netip.Prefix{prefix("198.51.100.128/28")}},
	}}
	plan.Index()
	var ev inventory.Evidence
	discover.FactoryRanges(plan)(t.Context(), &ev)
	var seen []string
	for _, s := range ev.Sightings {
		if s.Source == inventory.SourceARP {
			seen = append(seen, s.Addr.String()+" "+s.MAC.String())
		}
	}
	if want := []string{"198.51.100.8 00:00:5e:00:53:31"}; !slices.Equal(seen, want) {
		t.Errorf("saw %v, want %v", seen, want)
	}
	var looked []string
	for _, c := range ev.Coverage {
		looked = append(looked, strings.TrimSpace(c.Subject+" "+c.Table+": "+string(c.Result)+" "+c.Why))
	}
	want := []string{"yard factory range 198.51.100.0/28: complete", "yard factory range 10.0.0.0/16: skipped only IPv4 ranges up to a /22 are looked into",
		"yard factory range 203.0.113.32/28: skipped it lies in the network berths"}
	if !slices.Equal(looked, want) {
		t.Errorf("looked %q, want %q", looked, want)
	}
}
