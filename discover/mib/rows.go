package mib

import (
	"iter"
	"slices"

	"boundwalk/discover/snmp"
)

// rows are what was read, sorted by OID.
type rows []snmp.Row

// sorted gives the rows of tables in the order that column needs, each instance once.
func sorted(tables ...[]snmp.Row) rows {
	all := slices.Concat(tables...)
	slices.SortStableFunc(all, func(x, y snmp.Row) int { return x.OID.Compare(y.OID) })
	return slices.CompactFunc(all, func(x, y snmp.Row) bool { return x.OID.Compare(y.OID) == 0 })
}

// below are the rows at or below an OID.
func (r rows) below(o snmp.OID) rows {
	from, _ := slices.BinarySearchFunc(r, o, func(row snmp.Row, o snmp.OID) int { return row.OID.Compare(o) })
	n, _ := slices.BinarySearchFunc(r[from:], o, func(row snmp.Row, o snmp.OID) int {
		if row.OID.HasPrefix(o) {
			return -1
		}
		return 1
	})
	return r[from : from+n]
}

// column gives index and value of each instance of a column.
func (r rows) column(o snmp.OID) iter.Seq2[snmp.OID, snmp.Value] {
	return func(yield func(snmp.OID, snmp.Value) bool) {
		for _, row := range r.below(o) {
			if !yield(row.OID[len(o):], row.Value) {
				return
			}
		}
	}
}

// scalar is the value of an object that has one instance.
func (r rows) scalar(o snmp.OID) snmp.Value {
	for index, v := range r.column(o) {
		if len(index) == 1 && index[0] == 0 {
			return v
		}
	}
	return snmp.Value{}
}

// field is a column and where its values go in an R.
type field[R any] struct {
	oid snmp.OID
	set func(*R, snmp.Value)
}

// oids are the columns of fields.
func oids[R any](fields []field[R]) []snmp.OID {
	out := make([]snmp.OID, len(fields))
	for i, f := range fields {
		out[i] = f.oid
	}
	return out
}

// line is one conceptual row of a table.
type line[K comparable, R any] struct {
	key   K
	index snmp.OID
	row   R
}

// gather makes a table's lines from its columns, sorted by index. The key says
// which instances belong to one line, and refuses an index of another shape. Of two
// instances with one key the later wins: of two time marks that is the latest.
func gather[K comparable, R any](all rows, key func(snmp.OID) (K, bool), fields []field[R]) []line[K, R] {
	var lines []*line[K, R]
	by := map[K]*line[K, R]{}
	for _, f := range fields {
		for index, v := range all.column(f.oid) {
			k, ok := key(index)
			if !ok || v.Kind == snmp.NoSuchObject || v.Kind == snmp.NoSuchInstance {
				continue
			}
			l := by[k]
			if l == nil {
				l = &line[K, R]{key: k, index: index}
				by[k] = l
				lines = append(lines, l)
			}
			f.set(&l.row, v)
		}
	}
	slices.SortStableFunc(lines, func(x, y *line[K, R]) int { return x.index.Compare(y.index) })
	out := make([]line[K, R], len(lines))
	for i, l := range lines {
		out[i] = *l
	}
	return out
}
