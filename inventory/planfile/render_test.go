package planfile_test

import (
	"math/rand/v2"
	"net/netip"
	"os"
	"strings"
	"testing"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// renderAgain renders a plan, reads that, and renders it once more: Render
// itself compares plans, so here texts are.
func renderAgain(t *testing.T, f *planfile.File, remarks ...planfile.Remark) string {
	t.Helper()
	text, err := planfile.Render(f.Plan, remarks...)
	if err != nil {
		t.Fatalf("%v\n%s", err, f.Text())
	}
	again, err := planfile.Render(parse(t, string(text)).Plan, remarks...)
	if err != nil || string(again) != string(text) {
		t.Errorf("rendered twice it differs: %v\n%s", err, lineDiff(string(text), string(again)))
	}
	return string(text)
}

func TestRenderSaysThePlan(t *testing.T) {
	for _, path := range []string{"../../deploy/example/plan.yaml", "testdata/full.yaml"} {
		f, err := planfile.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		renderAgain(t, f)
	}
	for seed := range 200 {
		renderAgain(t, parse(t, randomPlan(rand.New(rand.NewPCG(uint64(seed), 8)))))
	}
}

func TestRenderedDraft(t *testing.T) {
	p := planfile.Defaults()
	p.Site.Name = "Tern Quay"
	p.Networks = []inventory.Network{{Name: "yard", Subnet: netip.MustParsePrefix("203.0.113.0/25"), VLAN: 10, Unknown: inventory.UnknownWarning},
		{Name: "cameras", Subnet: netip.MustParsePrefix("203.0.113.128/26"), Unknown: inventory.UnknownUrgent}}
	p.Access = []inventory.Access{{Name: "yard", Version: "v2c", Port: 161, Community: "file:yard.community"}}
	p.Devices = []inventory.Device{
		{Name: "quay-switch", Role: inventory.Switch, MACs: []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 2}}, Addresses: []netip.Addr{netip.MustParseAddr("203.0.113.2")},
			Access: "yard", Ports: 10, Budget: 130000, Maker: "Acme", Product: `PS-10 "rev B"`, Serial: "0012345", Firmware: "1.10",
			Room: "office # 2", Via: []string{}},
		{Name: "slip-cam", Role: inventory.Camera, MACs: []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 0x31}}, Addresses: []netip.Addr{netip.MustParseAddr("203.0.113.131")},
			At: inventory.PortRef{Device: "quay-switch", Port: "5"}, Draws: inventory.Draws{Usual: 5100, Most: 11300}},
		{Name: "unknown-42", MACs: []inventory.MAC{{2, 0, 0x5e, 0, 0x53, 0x42}}},
	}
	text, err := planfile.Render(p,
		planfile.Remark{Device: "slip-cam", Key: "role", Text: "guessed from its PoE class and\nan RTSP service"},
		planfile.Remark{Device: "slip-cam", Key: "draws", Text: "seen by day only"},
		planfile.Remark{Device: "unknown-42", Key: "at", Text: "behind port 8, among 3"})
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "testdata/draft.golden", string(text))
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (UPDATE=1 writes it anew):\n%s", path, lineDiff(string(want), got))
	}
}

func TestRenderRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*inventory.Plan)
		want   string
	}{
		"a doubled port": {func(p *inventory.Plan) {
			p.Devices = append(p.Devices, inventory.Device{Name: "x", At: inventory.PortRef{Device: "quay-switch", Port: "5"}})
		}, "already"},
		"a name with a slash":     {func(p *inventory.Plan) { p.Devices[0].Name = "a/b" }, "is no name"},
		"text with a line break":  {func(p *inventory.Plan) { p.Devices[0].Note = "a\nb: c" }, "line break"},
		"a model that has a MAC":  {func(p *inventory.Plan) { p.Models[0].MACs = []inventory.MAC{{2}} }, "cannot say"},
		"no name of the site":     {func(p *inventory.Plan) { p.Site.Name = "" }, `needs the key "name"`},
		"an amount below a step":  {func(p *inventory.Plan) { p.Near.PortShare = 0.123456789012345 }, "cannot say"},
		"a device with two lists": {func(p *inventory.Plan) { p.Devices[0].Tagged = []int{10, 10} }, "twice"},
	} {
		f, err := planfile.ReadFile("../../deploy/example/plan.yaml")
		if err != nil {
			t.Fatal(err)
		}
		c.change(f.Plan)
		if text, err := planfile.Render(f.Plan); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want words with %q\n%s", name, err, c.want, text)
		}
	}
}
