package diff_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// randomTree is a plan that hangs from a router, with who was found in a run.
func randomTree(r *rand.Rand) (*inventory.Plan, *inventory.Snapshot, *inventory.History) {
	roles := []inventory.Role{inventory.Switch, inventory.Switch, inventory.Switch, inventory.AccessPoint, inventory.Camera, inventory.Camera, inventory.Camera,
		inventory.Printer, inventory.Sensor, inventory.Phone, inventory.Server, inventory.Television, inventory.OtherRole}
	plan := site(onPort("d00", inventory.Router, 1, ""))
	parents := []int{0}
	for k := 1; k < 3+r.IntN(40); k++ {
		up := parents[r.IntN(len(parents))]
		d := onPort(fmt.Sprintf("d%02d", k), roles[r.IntN(len(roles))], byte(k+1), fmt.Sprintf("d%02d/%d", up, k))
		d.Important = r.IntN(8) == 0
		if r.IntN(10) == 0 {
			d.Away = []inventory.Season{{From: time.October, To: time.December}}
		}
		plan.Devices = append(plan.Devices, d)
		if d.Role == inventory.Switch {
			parents = append(parents, k)
		}
	}
	s, h := seen(plan, noon), &inventory.History{Absences: map[string]inventory.Absence{}, Pulse: map[string]inventory.PulsePresence{}, Last: map[string]time.Time{}}
	dark := 0.05 + 0.5*r.Float64()
	for i := range s.Devices {
		d := &s.Devices[i]
		d.Place = inventory.Place{}
		h.Last[d.Name] = noon.Add(-48 * time.Hour)
		switch x := r.Float64(); {
		case x < dark:
			lose(s, d.Name)
		case x < dark+0.05:
			lose(s, d.Name)
			d.Presence = inventory.NotLooked
		}
		if r.IntN(3) > 0 {
			h.Absences[d.Name] = inventory.Absence{Since: noon.Add(-time.Duration(r.IntN(40)) * time.Hour), Runs: 1 + r.IntN(3)}
		}
		if r.IntN(10) == 0 {
			h.Pulse[d.Name] = inventory.PulsePresence{At: noon.Add(-time.Duration(r.IntN(10)) * time.Minute), Up: r.IntN(2) == 0, Looked: true}
		}
	}
	return plan, s, h
}

// naive says the same as Audit of who is missing, by the words of the contract,
// device by device and without any index.
type naive struct {
	plan *inventory.Plan
	snap *inventory.Snapshot
	hist *inventory.History
}

func (n naive) device(name string) *inventory.Device {
	for i := range n.plan.Devices {
		if n.plan.Devices[i].Name == name {
			return &n.plan.Devices[i]
		}
	}
	return nil
}

func (n naive) seen(name string) inventory.SeenDevice {
	for _, x := range n.snap.Devices {
		if x.Name == name {
			return x
		}
	}
	return inventory.SeenDevice{}
}

func (n naive) absent(name string) bool {
	d := n.device(name)
	phone := d.Role == inventory.Phone || d.Role == inventory.Laptop || d.Role == inventory.Tablet
	p := n.hist.Pulse[name]
	pulse := p.Up && noon.Sub(p.At) <= 3*time.Minute
	return n.seen(name).Presence == inventory.Absent && !phone && len(d.Away) == 0 && !pulse // all seasons of the test hold at noon
}

func (n naive) missing(name string) bool {
	if !n.absent(name) || n.hist.Absences[name].Runs < 1 {
		return false
	}
	switch n.device(name).Role {
	case inventory.Printer, inventory.Sensor, inventory.Television, inventory.OtherRole:
		return noon.Sub(n.hist.Absences[name].Since) >= 24*time.Hour
	}
	return true
}

// head is the missing device farthest up the way to the device, "" for none.
func (n naive) head(d inventory.Device) string {
	head := ""
	if n.missing(d.Name) {
		head = d.Name
	}
	for up := d.At.Device; up != "" && n.seen(up).Presence != inventory.Present; up = n.device(up).At.Device {
		if n.missing(up) {
			head = up
		}
	}
	return head
}

// all is each missing device with those that are gone behind it, or "cut-off"
// where most of what was looked for is gone.
func (n naive) all() map[string][]string {
	looked, gone := 0, []string{}
	for _, d := range n.plan.Devices {
		if d.Role == inventory.Phone || len(d.Away) > 0 || n.seen(d.Name).Presence == inventory.NotLooked {
			continue
		}
		looked++
		if n.absent(d.Name) && n.hist.Absences[d.Name].Runs > 0 {
			gone = append(gone, d.Name)
		}
	}
	if len(gone) >= 3 && len(gone) > looked/2 {
		return map[string][]string{"cut-off": gone}
	}
	out := map[string][]string{}
	for _, d := range n.plan.Devices {
		if !n.absent(d.Name) {
			continue
		}
		head := n.head(d)
		if head == "" {
			continue
		}
		if _, has := out[head]; !has {
			out[head] = nil
		}
		if head != d.Name {
			out[head] = append(out[head], d.Name)
		}
	}
	return out
}

// A slow twin checks who is missing, and behind whom, on random sites.
func TestMissingAgainstTwin(t *testing.T) {
	cut, folded := 0, 0
	for seed := range uint64(4000) {
		plan, s, h := randomTree(rand.New(rand.NewPCG(seed, 1)))
		want := naive{plan, s, h}.all()
		got := map[string][]string{}
		for _, f := range diff.Audit(plan, s, h, noon) {
			switch f.Kind {
			case diff.MissingDevice:
				got[f.Subject] = f.Behind
				folded += len(f.Behind)
			case diff.CutOff:
				got["cut-off"] = f.Behind
				cut++
			default:
				t.Fatalf("seed %d: %s", seed, say(f))
			}
		}
		if !maps.EqualFunc(got, want, slices.Equal) {
			t.Fatalf("seed %d\n got %v\nwant %v", seed, got, want)
		}
	}
	if cut < 20 || folded < 1000 {
		t.Errorf("%d cut off, %d folded: the random sites are too tame", cut, folded)
	}
}
