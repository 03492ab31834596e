package diff

import (
	"boundwalk/inventory"
)

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
	at := make(map[string]int, n)
	for i := range plan.Devices {
		if d := &plan.Devices[i]; planned[d.Name] == d {
			at[d.Name] = i
		}
	}
	next := make([][]int, n)
	join := func(x, y string) {
		i, iok := at[x]
		j, jok := at[y]
		if iok && jok && i != j {
			next[i], next[j] = append(next[i], j), append(next[j], i)
		}
	}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		below := d.Name
		for _, via := range d.Via {
			join(below, via)
			below = via
		}
		if d.At.Device != "" {
			join(below, d.At.Device)
		}
	}
	for _, l := range plan.Links {
		join(l.Between[0], l.Between[1])
	}
	t := &tree{parent: make(map[string]string, n), depth: make(map[string]int, n)}
	walk := func(root string) {
		i, ok := at[root]
		if _, been := t.depth[root]; been || !ok {
			return
		}
		t.depth[root] = 0
		for queue := []int{i}; len(queue) > 0; queue = queue[1:] {
			up := plan.Devices[queue[0]].Name
			for _, k := range next[queue[0]] {
				name := plan.Devices[k].Name
				if _, been := t.depth[name]; !been {
					t.depth[name], t.parent[name] = t.depth[up]+1, up
					queue = append(queue, k)
				}
			}
		}
	}
	if i, ok := at[self]; ok && len(next[i]) > 0 {
		walk(self)
	}
	for i := range plan.Devices {
		if plan.Devices[i].Role == inventory.Router {
			walk(plan.Devices[i].Name)
		}
	}
	for i := range plan.Devices {
		if plan.Devices[i].At.IsZero() && !plan.Devices[i].Role.IsPassive() {
			walk(plan.Devices[i].Name)
		}
	}
	for i := range plan.Devices {
		walk(plan.Devices[i].Name)
	}
	return t
}

// feeders lists the passive devices that a device hangs on or is fed by,
// nearest first: injectors, small switches that nobody can ask.
func (a *auditor) feeders(d *inventory.Device) []string {
	var out []string
	for range len(a.plan.Devices) {
		for _, via := range d.Via {
			if v := a.planned[via]; v != nil && v.Role.IsPassive() {
				out = append(out, via)
			}
		}
		up := a.planned[d.At.Device]
		if up == nil || !up.Role.IsPassive() || len(out) > len(a.plan.Devices) {
			break
		}
		out = append(out, up.Name)
		d = up
	}
	return out
}

// deadPassive finds the passive devices of which all that shows is gone: two
// devices at least, or else the one that shows is the better name. It returns
// the nearest such device for each of their children.
func (a *auditor) deadPassive() map[string]string {
	shows := map[string][]string{} // passive -> the visible devices nearest to it
	var order []string
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		s := a.seen[d.Name]
		if s == nil || d.Role.IsPassive() || d.Role.Roams() || d.AwayAt(a.now.In(a.loc)) || s.Presence == inventory.NotLooked || s.Presence == inventory.Unseeable {
			continue
		}
		for _, f := range a.feeders(d) {
			if shows[f] == nil {
				order = append(order, f)
			}
			shows[f] = append(shows[f], d.Name)
		}
	}
	under := map[string]string{}
	for _, p := range order {
		gone := 0
		for _, c := range shows[p] {
			if !a.absent[c] {
				gone = -1
				break
			}
			if a.gone[c] {
				gone++
			}
		}
		if gone < 2 {
			continue
		}
		for _, c := range shows[p] {
			// Of two that are dead, the nearest to the device; of an injector and
			// the switch that it feeds, the switch, which the children share.
			if _, has := under[c]; !has {
				under[c] = p
			}
		}
	}
	return under
}

// heads folds what is gone under its nearest common cause: the highest device on
// the way to us that is gone too, with nothing present between. It returns the
// causes in the plan's order with all that is absent behind each.
func (a *auditor) heads() (order []string, behind map[string][]string) {
	under := a.deadPassive()
	top := map[string]string{} // dead passive -> its child nearest to us
	for _, c := range a.names {
		if p := under[c]; p != "" && (top[p] == "" || a.tree.depth[c] < a.tree.depth[top[p]]) {
			top[p] = c
		}
	}
	for p, c := range top {
		if a.tree.depth[p] < a.tree.depth[c] {
			top[p] = p
		}
	}
	parent := func(name string) string {
		if p := under[name]; p != "" {
			return p
		}
		if c := top[name]; c != "" {
			return a.tree.parent[c]
		}
		return a.tree.parent[name]
	}
	head := func(name string) string {
		best := ""
		if a.gone[name] {
			best = name
		}
		for cur, n := name, 0; n <= len(a.plan.Devices); n++ {
			cur = parent(cur)
			s := a.seen[cur]
			if cur == "" || cur == name || s != nil && s.Presence == inventory.Present {
				break
			}
			if a.gone[cur] || top[cur] != "" {
				best = cur
			}
		}
		return best
	}
	behind = map[string][]string{}
	isHead := map[string]bool{}
	for _, name := range a.names {
		if !a.absent[name] {
			continue
		}
		h := head(name)
		if h == "" {
			continue
		}
		isHead[h] = true
		if h != name {
			behind[h] = append(behind[h], name)
		}
	}
	for _, name := range a.names {
		if isHead[name] {
			order = append(order, name)
		}
	}
	return order, behind
}

// namesInPlan is every planned name once, in the plan's order.
func namesInPlan(plan *inventory.Plan, planned map[string]*inventory.Device) []string {
	out := make([]string, 0, len(plan.Devices))
	for i := range plan.Devices {
		if d := &plan.Devices[i]; planned[d.Name] == d {
			out = append(out, d.Name)
		}
	}
	return out
}
