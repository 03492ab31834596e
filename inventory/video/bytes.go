// Package video is the arithmetic of cameras and their recorder: how long a
// disk keeps their streams, how many more fit, and what they put on the
// network.
//
// Units are SI: a megabit is 10^6 bits, a TB 10^12 bytes. A TiB is 2^40 bytes,
// a tenth more; many recorders show TiB and call it TB, so TB and TiB stand
// apart here. Figures that are common practice, and not a standard's, say so.
//
// No function panics or returns NaN or an infinity. A value that no site has
// is an error that wraps ErrRange. All functions are pure.
package video

import (
	"errors"
	"fmt"
	"strconv"
)

// BitRate is bits in a second; zero is unknown or none.
type BitRate int64

// Bytes is an amount of storage.
type Bytes int64

// Units of storage: the decimal ones of SI, in which drives are sold, and the
// binary ones of IEC 80000-13.
const (
	GB  Bytes = 1e9
	TB  Bytes = 1e12
	GiB Bytes = 1 << 30
	TiB Bytes = 1 << 40
)

// ErrRange is returned, wrapped, for a value outside what the arithmetic is
// meant for. NaN and the infinities are always outside.
var ErrRange = errors.New("out of range")

// String gives both units, so that nobody takes one for the other:
// "4 TB (3.64 TiB)", the one that comes out round first.
func (b Bytes) String() string {
	big, small, bigUnit, smallUnit := TB, TiB, "TB", "TiB"
	if b > -TB && b < TB {
		big, small, bigUnit, smallUnit = GB, GiB, "GB", "GiB"
	}
	if b != 0 && b%small == 0 {
		big, small, bigUnit, smallUnit = small, big, smallUnit, bigUnit
	}
	in := func(unit Bytes) string {
		return strconv.FormatFloat(float64(b)/float64(unit), 'f', 2, 64)
	}
	first := in(big)
	if b%big == 0 {
		first = strconv.FormatInt(int64(b/big), 10)
	}
	return first + " " + bigUnit + " (" + in(small) + " " + smallUnit + ")"
}

// within reports a value that is not between lo and hi. Written so that NaN fails.
func within[T ~float64 | ~int | ~int64](what string, v, lo, hi T, unit string) error {
	if v >= lo && v <= hi {
		return nil
	}
	return fmt.Errorf("%s %v %s is not within %v to %v: %w", what, float64(v), unit, float64(lo), float64(hi), ErrRange)
}
