package mib

import (
	"context"
	"errors"
	"slices"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// outcome is how reading one module ended.
type outcome struct {
	table  string
	result inventory.Result
	why    string
}

// worse takes a table of the module into account.
func (o *outcome) worse(t snmp.Table) {
	if t.Err == nil || o.why != "" {
		return
	}
	o.result, o.why = resultOf(t.Result), reason(t.Err)
}

func resultOf(r snmp.Result) inventory.Result {
	switch r {
	case snmp.Complete:
		return inventory.Complete
	case snmp.Refused:
		return inventory.Refused
	case snmp.NoAnswer:
		return inventory.NoAnswer
	case snmp.NotOffered:
		return inventory.NotOffered
	}
	return inventory.Partial
}

// notOffered is why there is nothing, where the agent said so itself.
const notOffered = "the agent has no such rows"

// reason is an error without the target, which coverage names anyhow.
func reason(err error) string {
	if t, ok := errors.AsType[*snmp.TargetError](err); ok {
		return t.Err.Error()
	}
	return err.Error()
}

// reader reads modules.
type reader struct {
	client *snmp.Client
	mods   []module
	tables [][]snmp.Row
	outs   []outcome
	rows   []int // of each module
	ended  error // silence or the end of the run: what stopped everything
}

// read asks for the keys of all modules and then for the rest of those that are
// offered. The outcomes come in the order of the modules.
func read(ctx context.Context, c *snmp.Client, mods []module) (rows, []outcome, error) {
	r := &reader{client: c, mods: mods, outs: make([]outcome, len(mods)), rows: make([]int, len(mods))}
	for i, m := range mods {
		r.outs[i].table = m.table
	}
	r.keys(ctx)
	have := sorted(r.tables...)
	r.tables = [][]snmp.Row{have}
	r.overlook(have)
	r.rest(ctx, have)
	for i := range r.outs {
		o := &r.outs[i]
		switch {
		case o.why == "" && r.rows[i] > 0:
			o.result = inventory.Complete
		case o.why == "":
			o.result, o.why = inventory.NotOffered, notOffered
		case r.rows[i] > 0:
			o.result = inventory.Partial
		}
	}
	if ctx.Err() != nil {
		r.ended = ctx.Err()
	}
	return sorted(r.tables...), r.outs, r.ended
}

// keys reads the keys in two groups of about the same length, one for each
// socket: ifTable is long and always there, and the rest is mostly short. Where a
// group did not end well, each of its modules is asked alone, to tell which it was.
func (r *reader) keys(ctx context.Context) {
	var groups [2][]snmp.OID
	for _, m := range r.mods {
		for _, o := range m.keys {
			at := 1
			if o.HasPrefix(ifEntry) {
				at = 0
			}
			groups[at] = append(groups[at], o)
		}
	}
	asked := slices.DeleteFunc(groups[:], func(g []snmp.OID) bool { return len(g) == 0 })
	failed := false
	for _, t := range r.client.WalkAll(ctx, asked...) {
		r.tables = append(r.tables, t.Rows)
		failed = failed || t.Err != nil
	}
	if failed {
		r.again(ctx)
		return
	}
	have := sorted(r.tables...)
	for i, m := range r.mods {
		for _, k := range m.keys {
			r.rows[i] += len(have.below(k))
		}
	}
}

func (r *reader) again(ctx context.Context) {
	had := sorted(r.tables...)
	var groups [][]snmp.OID
	for _, m := range r.mods {
		groups = append(groups, m.keys)
	}
	r.tables = nil
	for i, t := range r.client.WalkAll(ctx, groups...) {
		r.note(i, t)
		kept := t.Rows
		for _, k := range r.mods[i].keys { // what came before the agent fell silent is sound
			kept = append(kept, had.below(k)...)
		}
		kept = sorted(kept)
		r.rows[i] += len(kept)
		r.tables = append(r.tables, kept)
	}
}

// overlook forgives a module that ran into a limit because the agent repeats its
// rows for each time mark.
func (r *reader) overlook(have rows) {
	for i, m := range r.mods {
		if r.outs[i].why == "" || m.table != inventory.TableLLDP && m.table != inventory.TableVLAN {
			continue
		}
		for _, k := range m.keys {
			if _, repeated := repeatedMarks(have, k); repeated && r.ended == nil {
				r.outs[i].why = ""
			}
		}
	}
}

// job is a group of columns of one module.
type job struct {
	module  int
	columns []snmp.OID
	weight  int // about how many values it will bring
}

// rest reads what else the offered modules have, each by itself, the longest
// first so that both sockets end at about the same time.
func (r *reader) rest(ctx context.Context, have rows) {
	var jobs []job
	for i, m := range r.mods {
		if m.rest == nil || r.outs[i].why != "" {
			continue
		}
		if columns := m.rest(have); len(columns) > 0 {
			jobs = append(jobs, split(job{i, columns, r.rows[i] * len(columns)})...)
		}
	}
	slices.SortStableFunc(jobs, func(x, y job) int { return y.weight - x.weight })
	groups := make([][]snmp.OID, len(jobs))
	for k, j := range jobs {
		groups[k] = j.columns
	}
	for k, t := range r.client.WalkAll(ctx, groups...) {
		i := jobs[k].module
		r.note(i, t)
		r.rows[i] += len(t.Rows)
		r.tables = append(r.tables, t.Rows)
	}
}

// split halves a job of many requests, so that it does not keep one socket busy
// when the other is done.
func split(j job) []job {
	const long = 600 // values; about ten requests
	half := len(j.columns) / 2
	if j.weight < long || half == 0 {
		return []job{j}
	}
	return []job{{j.module, j.columns[:half], j.weight / 2}, {j.module, j.columns[half:], j.weight / 2}}
}

func (r *reader) note(i int, t snmp.Table) {
	r.outs[i].worse(t)
	if errors.Is(t.Err, snmp.ErrNoResponse) {
		r.ended = t.Err
	}
}
