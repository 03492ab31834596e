package digest_test

import (
	"slices"
	"strings"
	"testing"

	"boundwalk/diff"
	"boundwalk/diff/digest"
	"boundwalk/inventory"
)

// FC-29: a device taken out of the plan and one that is there again end the same
// finding, and read differently, in the week's mail as in one between.
func TestFC29TakenOutOfThePlan(t *testing.T) {
	over := busy(t).Episodes[0] // slip-cam is missing
	over.Cleared = monday.AddDate(0, 0, -1)
	for _, c := range []struct {
		name      string
		planned   bool
		want, not string
	}{
		{"there again", true, ": until Sun 22 Nov 08:00", "taken out of the plan"},
		{"taken out", false, ": taken out of the plan by Sun 22 Nov 08:00", ": until"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := quiet(t)
			plan := &inventory.Plan{Site: in.Plan.Site, Networks: in.Plan.Networks, Links: in.Plan.Links, Near: in.Plan.Near}
			plan.Devices = slices.DeleteFunc(slices.Clone(in.Plan.Devices), func(d inventory.Device) bool { return d.Name == "slip-cam" && !c.planned })
			in.Plan, in.Episodes = plan, []digest.Episode{over}
			week, err := digest.Build(in)
			if err != nil {
				t.Fatal(err)
			}
			between, err := digest.Alert(digest.News{Plan: plan, Over: in.Episodes, Now: monday})
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range []digest.Digest{week, between} {
				text := strings.Join(strings.Fields(d.Text), " ")
				if !strings.Contains(text, c.want) || strings.Contains(text, c.not) {
					t.Errorf("want %q and not %q in\n%s", c.want, c.not, d.Text)
				}
			}
		})
	}
}

// A network that the plan lacks was never in it: its finding is over, and no more.
func TestNetworkIsNotTakenOut(t *testing.T) {
	over := digest.Episode{Finding: diff.New(diff.WrongNetwork, "192.0.2.0/24"), Opened: monday.AddDate(0, 0, -3), Cleared: monday.AddDate(0, 0, -1)}
	d, err := digest.Alert(digest.News{Plan: quiet(t).Plan, Over: []digest.Episode{over}, Now: monday})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(strings.Fields(d.Text), " "), ": until Sun 22 Nov 08:00") {
		t.Errorf("its end reads\n%s", d.Text)
	}
}
