// Package oui names the maker behind a MAC address from the IEEE registries
// MA-L, MA-M and MA-S (and IAB, which MA-S replaced).
//
// A copy of the registries is built in, from Debian's package ieee-data; Load
// takes a newer one. Devices made after the copy's date may be missing, so that
// an unknown maker says nothing about a device. A maker is what an address
// claims: any device can be given any address.
package oui

import (
	_ "embed"
	"fmt"
	"strings"
	"time"
)

//go:generate go run generate.go /usr/share/ieee-data

//go:embed registry.bin
var builtin string

// A Registry maps prefixes of MAC addresses to makers. It is made by Builtin
// and Load, does not change, and may be used by several goroutines at once.
type Registry struct {
	// Date is when the registry's text was fetched from the IEEE, to the day.
	// It is zero where that is not known.
	Date time.Time

	tables [len(widths)]string // sorted records: prefix, offset in names
	names  string              // a length octet before each
}

// widths are the lengths of the prefixes in bits. MA-S and IAB share the last.
var widths = [...]int{24, 28, 36}

const nameOffset = 3 // octets of a record that point into the names

// Builtin returns the registry that is part of the program. It costs nothing:
// the packed file is searched where it lies.
func Builtin() *Registry {
	r, err := open(builtin)
	if err != nil {
		panic(err) // cannot happen: a test opens it
	}
	return r
}

// Maker returns the maker of mac by the registry that is built in.
func Maker(mac [6]byte) string { return Builtin().Maker(mac) }

// Maker returns the maker of mac by the longest prefix, or "" where none is
// registered. Locally administered and group addresses never have a maker:
// nobody assigned them. A maker that keeps its name secret is "Private".
func (r *Registry) Maker(mac [6]byte) string {
	if unassigned(mac[0]) {
		return ""
	}
	address := uint64(mac[0])<<40 | uint64(mac[1])<<32 | uint64(mac[2])<<24 | uint64(mac[3])<<16 | uint64(mac[4])<<8 | uint64(mac[5])
	for i := len(widths) - 1; i >= 0; i-- {
		if name, ok := r.find(i, address>>(48-widths[i])); ok {
			return name
		}
	}
	return ""
}

// unassigned reports whether a MAC with this first octet has the group bit or
// the local bit (IEEE 802, section 8).
func unassigned(first byte) bool { return first&3 != 0 }

// Len is the number of assignments in r.
func (r *Registry) Len() int {
	n := 0
	for i, t := range r.tables {
		n += len(t) / recordSize(i)
	}
	return n
}

func recordSize(table int) int { return (widths[table]+7)/8 + nameOffset }

func (r *Registry) find(table int, prefix uint64) (string, bool) {
	size := recordSize(table)
	rows := r.tables[table]
	low, high := 0, len(rows)/size
	for low < high {
		mid := (low + high) / 2
		if number(rows[mid*size:(mid+1)*size-nameOffset]) < prefix {
			low = mid + 1
		} else {
			high = mid
		}
	}
	if low*size == len(rows) {
		return "", false
	}
	row := rows[low*size : (low+1)*size]
	if number(row[:size-nameOffset]) != prefix {
		return "", false
	}
	at := int(number(row[size-nameOffset:]))
	return r.names[at+1 : at+1+int(r.names[at])], true
}

// number reads a big-endian number.
func number(s string) uint64 {
	var n uint64
	for i := range len(s) {
		n = n<<8 | uint64(s[i])
	}
	return n
}

const (
	magic      = "oui\x01"
	headerSize = len(magic) + 8 + 4*len(widths)
)

// open reads the packed form: magic, date in Unix seconds (8 octets), the
// octets of each table (4 each), the tables, the names; numbers big-endian.
func open(packed string) (*Registry, error) {
	if len(packed) < headerSize || !strings.HasPrefix(packed, magic) {
		return nil, fmt.Errorf("packed registry: %d octets without its header", len(packed))
	}
	r := &Registry{}
	if s := int64(number(packed[len(magic) : len(magic)+8])); s != 0 {
		r.Date = time.Unix(s, 0).UTC()
	}
	sizes, rest := packed[len(magic)+8:headerSize], packed[headerSize:]
	for i := range widths {
		size := int(number(sizes[4*i : 4*i+4]))
		if size > len(rest) || size%recordSize(i) != 0 {
			return nil, fmt.Errorf("packed registry: table %d has %d octets of %d", i, size, len(rest))
		}
		r.tables[i], rest = rest[:size], rest[size:]
	}
	r.names = rest
	return r, nil
}
