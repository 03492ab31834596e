package accept_test

import (
	"fmt"
	"strings"
	"testing"

	"boundwalk/cmd/internal/accept"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// Day one on a large site: a tenth of all devices is accepted at once, half of
// them unknown.
func BenchmarkAcceptMany(b *testing.B) {
	for _, n := range []int{500, 5000} {
		b.Run(fmt.Sprintf("devices=%d", n), func(b *testing.B) {
			f, snap, findings := dayOne(b, n)
			for b.Loop() {
				taken, err := accept.All(f.Plan, snap, findings, "")
				if err != nil {
					b.Fatal(err)
				}
				var changes []planfile.Change
				for _, t := range taken {
					changes = append(changes, t.Changes...)
				}
				if _, err := f.Edit(append(changes, accept.Unspare(taken)...)...); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func dayOne(b *testing.B, n int) (*planfile.File, *inventory.Snapshot, []diff.Finding) {
	var text strings.Builder
	text.WriteString("site: {name: Large}\nnetworks: {all: {subnet: 10.0.0.0/8}}\ndevices:\n")
	for _, hub := range []string{"hub", "moved", "new"} {
		fmt.Fprintf(&text, "  %s: {role: switch, ports: %d}\n", hub, n)
	}
	snap := &inventory.Snapshot{}
	var findings []diff.Finding
	for i := range n {
		fmt.Fprintf(&text, "  cam-%d: {role: camera, mac: \"02:00:5e:00:%02x:%02x\", at: hub/%d}   # %d\n", i, i>>8, i&255, i+1, i)
		switch i % 20 {
		case 0:
			f := diff.New(diff.MovedDevice, fmt.Sprintf("cam-%d", i))
			f.Where = fmt.Sprintf("moved/%d", i+1)
			findings = append(findings, f)
		case 1:
			m := inventory.MAC{2, 0, 0x5e, 1, byte(i >> 8), byte(i)}
			s := inventory.SeenDevice{Name: m.String(), MACs: []inventory.MAC{m}, Hostname: "cam",
				Place: inventory.Place{Switch: "new", Port: fmt.Sprint(i), Basis: inventory.ByFDB}}
			f := diff.New(diff.UnknownDevice, m.String())
			f.MACs = s.MACs
			snap.Devices, findings = append(snap.Devices, s), append(findings, f)
		}
	}
	f, err := planfile.Parse("plan.yaml", []byte(text.String()))
	if err != nil {
		b.Fatal(err)
	}
	return f, snap, findings
}
