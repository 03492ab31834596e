package doctor

import (
	"bufio"
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// rawRight reports whether this process may open raw sockets (capabilities(7), CAP_NET_RAW).
func rawRight() (bool, error) {
	f, err := os.Open("/proc/self/status")
	if err != nil {
		return false, err
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if v, ok := strings.CutPrefix(s.Text(), "CapEff:"); ok {
			set, err := strconv.ParseUint(strings.TrimSpace(v), 16, 64)
			return set&(1<<unix.CAP_NET_RAW) != 0, err
		}
	}
	return false, os.ErrNotExist
}

// clockSynced reports whether the kernel says that a time service keeps its
// clock (adjtimex(2): TIME_ERROR, STA_UNSYNC).
func clockSynced() (bool, error) {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0, err
}
