package diff

import (
	"boundwalk/inventory"
)

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
	up := a.causes()
	behind = map[string][]string{}
	isHead := map[string]bool{}
	for _, name := range a.names {
		if !a.absent[name] {
			continue
		}
		h := a.headOf(name, up)
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

// ascent is the way from an absent device towards us, with the dead passive
// devices on it.
type ascent struct {
	under map[string]string // device -> the dead passive device nearest to it
	top   map[string]string // dead passive device -> what of it is nearest to us
}

func (a *auditor) causes() ascent {
	up := ascent{under: a.deadPassive(), top: map[string]string{}}
	for _, c := range a.names {
		if p := up.under[c]; p != "" && (up.top[p] == "" || a.tree.depth[c] < a.tree.depth[up.top[p]]) {
			up.top[p] = c
		}
	}
	for p, c := range up.top {
		if a.tree.depth[p] < a.tree.depth[c] {
			up.top[p] = p
		}
	}
	return up
}

func (u ascent) parent(t *tree, name string) string {
	if p := u.under[name]; p != "" {
		return p
	}
	if c := u.top[name]; c != "" {
		return t.parent[c]
	}
	return t.parent[name]
}

// headOf is the highest device on the way from name to us that is gone, name
// included, with nothing present between; "" where there is none.
func (a *auditor) headOf(name string, up ascent) string {
	best := ""
	if a.gone[name] {
		best = name
	}
	for cur, n := name, 0; n <= len(a.plan.Devices); n++ {
		cur = up.parent(a.tree, cur)
		s := a.seen[cur]
		if cur == "" || cur == name || s != nil && s.Presence == inventory.Present {
			break
		}
		if a.gone[cur] || up.top[cur] != "" {
			best = cur
		}
	}
	return best
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
