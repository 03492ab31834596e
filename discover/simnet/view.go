package simnet

import (
	"errors"
	"slices"
)

// view is the rows of an agent in order of their OIDs. It is never changed,
// only replaced, so that an answer sees one state throughout.
type view []row

func (v view) find(o oid) (int, bool) {
	return slices.BinarySearchFunc(v, o, func(r row, o oid) int { return r.oid.compare(o) })
}

// after is the position of the first row behind o.
func (v view) after(o oid) int {
	i, found := v.find(o)
	if found {
		i++
	}
	return i
}

// knowsObject guesses whether there is an object of which o would be an
// instance: a view has rows, not object types. A row that differs in the last
// number only, as with scalars and tables with one index, says so.
func (v view) knowsObject(o oid) bool {
	object := o[:len(o)-1]
	i, _ := v.find(object)
	return i < len(v) && v[i].oid.under(object)
}

// with is a copy of v in which rows are added or replaced. Of two rows with
// one OID the later counts.
func (v view) with(rows []row) view {
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b row) int { return a.oid.compare(b.oid) })
	out := make(view, 0, len(v)+len(rows))
	for len(v) > 0 || len(rows) > 0 {
		switch {
		case len(rows) == 0:
			return append(out, v...)
		case len(rows) > 1 && rows[0].oid.compare(rows[1].oid) == 0:
			rows = rows[1:]
		case len(v) == 0 || rows[0].oid.compare(v[0].oid) < 0:
			out, rows = append(out, rows[0]), rows[1:]
		case rows[0].oid.compare(v[0].oid) == 0:
			v = v[1:]
		default:
			out, v = append(out, v[0]), v[1:]
		}
	}
	return out
}

// without is a copy of v without the rows at and below prefix.
func (v view) without(prefix oid) view {
	return slices.DeleteFunc(slices.Clone(v), func(r row) bool { return r.oid.under(prefix) })
}

func parseRows(rows []Row) ([]row, error) {
	out := make([]row, 0, len(rows))
	var errs []error
	for _, r := range rows {
		p, err := r.parse()
		if err != nil {
			errs = append(errs, err)
			continue
		}
		out = append(out, p)
	}
	return out, errors.Join(errs...)
}
