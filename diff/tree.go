package diff

import "boundwalk/inventory"

// tree is the plan as the network hangs together, seen from where we stand: who
// is reached through whom, radio links included.
type tree struct {
	parent map[string]string
	depth  map[string]int
}

// treeOf walks the plan from the device that boundwalk runs on, else from the
// router. What is not connected to that hangs on its own topmost device.
func treeOf(plan *inventory.Plan, planned map[string]*inventory.Device, self string) *tree {
	n := len(plan.Devices)
	w := wiringOf(plan, planned)
	t := &tree{parent: make(map[string]string, n), depth: make(map[string]int, n)}
	if i, ok := w.at[self]; ok && len(w.next[i]) > 0 {
		t.grow(self, plan, w)
	}
	for i := range plan.Devices {
		if plan.Devices[i].Role == inventory.Router {
			t.grow(plan.Devices[i].Name, plan, w)
		}
	}
	for i := range plan.Devices {
		if plan.Devices[i].At.IsZero() && !plan.Devices[i].Role.IsPassive() {
			t.grow(plan.Devices[i].Name, plan, w)
		}
	}
	for i := range plan.Devices {
		t.grow(plan.Devices[i].Name, plan, w)
	}
	return t
}

// grow adds all that root reaches and no tree holds yet, breadth first.
func (t *tree) grow(root string, plan *inventory.Plan, w wiring) {
	i, ok := w.at[root]
	if _, been := t.depth[root]; been || !ok {
		return
	}
	t.depth[root] = 0
	for queue := []int{i}; len(queue) > 0; queue = queue[1:] {
		up := plan.Devices[queue[0]].Name
		for _, k := range w.next[queue[0]] {
			name := plan.Devices[k].Name
			if _, been := t.depth[name]; !been {
				t.depth[name], t.parent[name] = t.depth[up]+1, up
				queue = append(queue, k)
			}
		}
	}
}

// wiring is the plan as a graph: the index of each device in the plan, and the
// indices of those that it is joined to.
type wiring struct {
	at   map[string]int
	next [][]int
}

// wiringOf joins each device with what feeds it and where it hangs, and the two
// ends of every radio link.
func wiringOf(plan *inventory.Plan, planned map[string]*inventory.Device) wiring {
	n := len(plan.Devices)
	w := wiring{at: make(map[string]int, n), next: make([][]int, n)}
	for i := range plan.Devices {
		if d := &plan.Devices[i]; planned[d.Name] == d {
			w.at[d.Name] = i
		}
	}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		below := d.Name
		for _, via := range d.Via {
			w.join(below, via)
			below = via
		}
		if d.At.Device != "" {
			w.join(below, d.At.Device)
		}
	}
	for _, l := range plan.Links {
		w.join(l.Between[0], l.Between[1])
	}
	return w
}

func (w wiring) join(x, y string) {
	i, iok := w.at[x]
	j, jok := w.at[y]
	if iok && jok && i != j {
		w.next[i], w.next[j] = append(w.next[i], j), append(w.next[j], i)
	}
}
