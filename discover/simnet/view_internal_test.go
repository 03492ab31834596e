package simnet

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// slowView is a list in any order: the twin that view is checked against.
type slowView map[string]oid

func (v slowView) next(o oid) (oid, bool) {
	var best oid
	for _, c := range v {
		if c.compare(o) > 0 && (best == nil || c.compare(best) < 0) {
			best = c
		}
	}
	return best, best != nil
}

func TestViewAgreesWithASlowTwin(t *testing.T) {
	chance := rand.New(rand.NewPCG(1, 2))
	draw := func() oid {
		o := oid{1, 3}
		for range chance.IntN(4) {
			o = append(o, uint32(chance.IntN(12)))
		}
		return o
	}
	var v view
	slow := slowView{}
	for step := range 400 {
		if chance.IntN(4) == 0 {
			prefix := draw()
			v = v.without(prefix)
			for k, o := range slow {
				if len(o) >= len(prefix) && slices.Equal(o[:len(prefix)], prefix) {
					delete(slow, k)
				}
			}
		} else {
			var rows []row
			for range chance.IntN(12) {
				o := draw()
				rows = append(rows, row{o, Integer(int32(step))})
				slow[o.String()] = o
			}
			v = v.with(rows)
		}
		if len(v) != len(slow) {
			t.Fatalf("step %d: %d rows, want %d", step, len(v), len(slow))
		}
		for range 20 {
			o := draw()
			_, want := slow[o.String()]
			if _, got := v.find(o); got != want {
				t.Fatalf("step %d: find %v: %t, want %t", step, o, got, want)
			}
			next, more := slow.next(o)
			if i := v.after(o); (i < len(v)) != more || more && v[i].oid.compare(next) != 0 {
				t.Fatalf("step %d: row %d follows %v, want %v", step, i, o, next)
			}
		}
	}
}

// An older view stays as it was: an answer in the making sees one state.
func TestViewIsNotChangedInPlace(t *testing.T) {
	first := view(nil).with([]row{{oid{1, 3, 1}, Integer(1)}, {oid{1, 3, 2}, Integer(2)}, {oid{1, 3, 2}, Integer(3)}})
	second := first.with([]row{{oid{1, 3, 1}, Integer(9)}})
	third := second.without(oid{1, 3, 2})
	if len(first) != 2 || first[0].value.content != 1 || first[1].value.content != 3 {
		t.Errorf("first %v", first)
	}
	if len(second) != 2 || second[0].value.content != 9 {
		t.Errorf("second %v", second)
	}
	if len(third) != 1 {
		t.Errorf("third %v", third)
	}
}

// Source: X.690, 8.19; RFC 2578, 7.1.3.
func TestParseOID(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"1.3.6.1", ".1.3.6.1"}, {".1.3", ".1.3"}, {"0.0", ".0.0"}, {"2.999.3", ".2.999.3"}, {"1.39.4294967295", ".1.39.4294967295"},
		{"2.4294967215", ".2.4294967215"}, {"2.4294967216", ""}, {"1.40", ""}, {"3.1", ""}, {"1", ""}, {"", ""}, {".", ""}, {"1..3", ""}, {"1.3.", ""},
		{"1.3.4294967296", ""}, {"1.3.-1", ""}, {"1.3.+1", ""}, {"1.3.sysName", ""}, {" 1.3", ""}, {"..1.3", ""},
	} {
		o, err := parseOID(c.text)
		if got := o.String(); got != c.want || (err == nil) != (c.want != "") {
			t.Errorf("%q: %q, %v, want %q", c.text, got, err, c.want)
		}
	}
	long := make(oid, maxSubIDs)
	long[0] = 1
	if _, err := parseOID(long.String()); err != nil {
		t.Error(err)
	}
	if _, err := parseOID(long.String() + ".1"); err == nil {
		t.Error("129 numbers taken")
	}
}
