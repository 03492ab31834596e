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

// naiveMissing says the same as Audit of who is missing, by the words of the
// contract, device by device and without any index.
func naiveMissing(plan *inventory.Plan, s *inventory.Snapshot, h *inventory.History) map[string][]string {
	device := func(name string) *inventory.Device {
		for i := range plan.Devices {
			if plan.Devices[i].Name == name {
				return &plan.Devices[i]
			}
		}
		return nil
	}
	absent := func(name string) bool {
		d, x := device(name), inventory.SeenDevice{}
		for _, y := range s.Devices {
			if y.Name == name {
				x = y
			}
		}
		phone := d.Role == inventory.Phone || d.Role == inventory.Laptop || d.Role == inventory.Tablet
		p := h.Pulse[name]
		pulse := p.Up && noon.Sub(p.At) <= 3*time.Minute
		return x.Presence == inventory.Absent && !phone && len(d.Away) == 0 && !pulse // all seasons of the test hold at noon
	}
	missing := func(name string) bool {
		if !absent(name) || h.Absences[name].Runs < 1 {
			return false
		}
		switch device(name).Role {
		case inventory.Printer, inventory.Sensor, inventory.Television, inventory.OtherRole:
			return noon.Sub(h.Absences[name].Since) >= 24*time.Hour
		}
		return true
	}
	present := func(name string) bool {
		for _, y := range s.Devices {
			if y.Name == name {
				return y.Presence == inventory.Present
			}
		}
		return false
	}
	out := map[string][]string{}
	looked, gone := 0, []string{}
	for _, d := range plan.Devices {
		x, _ := s.Device(d.Name)
		if d.Role == inventory.Phone || len(d.Away) > 0 || x.Presence == inventory.NotLooked {
			continue
		}
		looked++
		if absent(d.Name) && h.Absences[d.Name].Runs > 0 {
			gone = append(gone, d.Name)
		}
	}
	if len(gone) >= 3 && len(gone) > looked/2 {
		return map[string][]string{"cut-off": gone}
	}
	for _, d := range plan.Devices {
		if !absent(d.Name) {
			continue
		}
		head := ""
		if missing(d.Name) {
			head = d.Name
		}
		for up := d.At.Device; up != "" && !present(up); up = device(up).At.Device {
			if missing(up) {
				head = up
			}
		}
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
		want := naiveMissing(plan, s, h)
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
