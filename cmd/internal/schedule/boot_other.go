//go:build !linux

package schedule

import (
	"errors"
	"time"
)

// SinceBoot is known on Linux only; elsewhere it is [errors.ErrUnsupported].
func SinceBoot() (time.Duration, error) { return 0, errors.ErrUnsupported }
