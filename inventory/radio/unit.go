package radio

import (
	"errors"
	"fmt"
)

// DBm is a power level against one milliwatt.
type DBm float64

// DBi is an antenna's gain against an isotropic one.
type DBi float64

// DB is a ratio: a loss, a margin, a distance between two levels.
type DB float64

// MHz is a frequency or a channel's width.
type MHz float64

// Metres is a length.
type Metres float64

// BitRate is bits in a second; zero is unknown or none.
type BitRate int64

// ErrRange is returned, wrapped, for a value outside what the arithmetic is
// meant for. NaN and the infinities are always outside.
var ErrRange = errors.New("out of range")

// What a value may be. Wide enough for any link that people build, narrow
// enough that no sum of them overflows.
const (
	leastMHz, mostMHz               = 100, 100_000
	leastMetres, mostMetres         = 0.1, 1_000_000
	leastLevel, mostLevel           = -200, 100
	leastGain, mostGain             = -50, 80
	mostLoss                        = 200
	mostHeight                      = 10_000
	mostRate                BitRate = 1e12
)

// within reports a value that is not between lo and hi. Written so that NaN fails.
func within[T ~float64 | ~int | ~int64](what string, v, lo, hi T, unit string) error {
	if v >= lo && v <= hi {
		return nil
	}
	return fmt.Errorf("%s %v %s is not within %v to %v: %w", what, v, unit, lo, hi, ErrRange)
}
