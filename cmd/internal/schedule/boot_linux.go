package schedule

import (
	"fmt"
	"time"

	"golang.org/x/sys/unix"
)

// SinceBoot is how long the machine has been up, time asleep included. A
// service that starts with its machine settles longer than one restarted later.
func SinceBoot() (time.Duration, error) {
	var up unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &up); err != nil {
		return 0, fmt.Errorf("schedule: read the time since boot: %w", err)
	}
	return time.Duration(up.Nano()), nil
}
