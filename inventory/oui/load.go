package oui

import (
	"encoding/binary"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

const (
	largestFile = 64 << 20 // octets; all registries of 2022 together have 5 MB
	longestName = 80       // octets, of a cleaned name

	// parent is the name of an MA-L row that was divided into smaller
	// assignments. Where none of those matches, the maker is unknown.
	parent = "IEEE Registration Authority"
)

// tableOf says by the name in the column Registry which table an assignment
// belongs to. CID rows are for no addresses that a maker may use.
var tableOf = map[string]int{"MA-L": 0, "MA-M": 1, "MA-S": 2, "IAB": 2}

// rows collects the names of each prefix.
type rows [len(widths)]map[uint64]string

// Load reads assignments in the IEEE's CSV form (Registry, Assignment,
// Organization Name, …), of one registry or of several files one after another.
// The registries that are in it replace those built in; for the others the
// built-in ones stand. The Date of the result is zero, for the caller to set.
// An error names the line.
func Load(r io.Reader) (*Registry, error) {
	limited := &io.LimitedReader{R: r, N: largestFile}
	cr := csv.NewReader(limited)
	cr.FieldsPerRecord = -1
	cr.ReuseRecord = true
	var got rows
	for n := 0; ; n++ {
		record, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("registry: %w", err)
		}
		line, _ := cr.FieldPos(0)
		header := strings.TrimPrefix(record[0], "\ufeff") == "Registry"
		if n == 0 && !header {
			return nil, fmt.Errorf("registry: line %d: want the header Registry,Assignment,Organization Name", line)
		}
		if header {
			continue
		}
		if err := got.add(record); err != nil {
			return nil, fmt.Errorf("registry: line %d: %w", line, err)
		}
	}
	if limited.N == 0 {
		return nil, fmt.Errorf("registry: larger than %d MiB", largestFile>>20)
	}
	if !slices.ContainsFunc(got[:], func(t map[uint64]string) bool { return t != nil }) {
		return nil, errors.New("registry: no assignments in it")
	}
	return got.registry()
}

func (got *rows) add(record []string) error {
	if len(record) < 3 {
		return fmt.Errorf("%d fields, want at least 3", len(record))
	}
	if record[0] == "CID" {
		return nil
	}
	table, ok := tableOf[record[0]]
	if !ok {
		return fmt.Errorf("registry %q, want MA-L, MA-M, MA-S or IAB", clean(record[0]))
	}
	digits := widths[table] / 4
	prefix, err := strconv.ParseUint(record[1], 16, 64)
	if err != nil || len(record[1]) != digits {
		return fmt.Errorf("assignment %q, want %d hexadecimal digits", clean(record[1]), digits)
	}
	if got[table] == nil {
		got[table] = make(map[uint64]string)
	}
	name := clean(record[2])
	if name == "" || name == parent || unassigned(byte(prefix>>(widths[table]-8))) {
		return nil
	}
	// Two MA-L assignments were given twice; all their owners are named.
	if other, twice := got[table][prefix]; twice && other != name {
		name = clean(other + " / " + name)
	}
	got[table][prefix] = name
	return nil
}

// registry packs the rows, with the built-in tables for those that are nil.
func (got *rows) registry() (*Registry, error) {
	old := Builtin()
	for i := range got {
		if got[i] == nil {
			got[i] = old.rows(i)
		}
	}
	packed, err := got.pack(time.Time{})
	if err != nil {
		return nil, err
	}
	return open(packed)
}

func (r *Registry) rows(table int) map[uint64]string {
	size := recordSize(table)
	out := make(map[uint64]string)
	for t := r.tables[table]; len(t) > 0; t = t[size:] {
		prefix := number(t[:size-nameOffset])
		out[prefix], _ = r.find(table, prefix)
	}
	return out
}

// Pack returns r in the form that is built into the program. It is meant for
// the generator.
func (r *Registry) Pack() ([]byte, error) {
	var all rows
	for i := range all {
		all[i] = r.rows(i)
	}
	packed, err := all.pack(r.Date)
	return []byte(packed), err
}

func (got *rows) pack(date time.Time) (string, error) {
	var names []byte
	at := make(map[string]int) // a name stands once
	var tables [len(widths)][]byte
	for i, table := range got {
		for _, prefix := range slices.Sorted(maps.Keys(table)) {
			name := table[prefix]
			if _, ok := at[name]; !ok {
				at[name] = len(names)
				names = append(append(names, byte(len(name))), name...)
			}
			key := binary.BigEndian.AppendUint64(nil, prefix)
			tables[i] = append(tables[i], key[8-(recordSize(i)-nameOffset):]...)
			tables[i] = append(tables[i], byte(at[name]>>16), byte(at[name]>>8), byte(at[name]))
		}
	}
	if len(names) >= 1<<(8*nameOffset) {
		return "", fmt.Errorf("registry: %d octets of names, at most %d", len(names), 1<<(8*nameOffset)-1)
	}
	out := []byte(magic)
	var seconds int64
	if !date.IsZero() {
		seconds = date.Unix()
	}
	out = binary.BigEndian.AppendUint64(out, uint64(seconds))
	for _, t := range tables {
		out = binary.BigEndian.AppendUint32(out, uint32(len(t)))
	}
	for _, t := range tables {
		out = append(out, t...)
	}
	return string(append(out, names...)), nil
}

// clean makes a name fit for a line: no control characters or ones that steer
// text, single blanks, valid UTF-8, at most longestName octets.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r), unicode.IsSpace(r), unicode.Is(unicode.Zl, r), unicode.Is(unicode.Zp, r):
			return ' '
		case unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, s)
	s = strings.ToValidUTF8(strings.Join(strings.Fields(s), " "), "\ufffd")
	if len(s) > longestName {
		s = strings.ToValidUTF8(s[:longestName-len("…")], "") + "…"
	}
	return s
}
