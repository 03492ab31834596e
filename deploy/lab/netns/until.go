package netns

import (
	"testing"
	"time"
)

// patience is how long Until waits: the machine may be busy.
const patience = 2 * time.Minute

// Until polls for what a daemon takes its time for, named as what is waited for, and
// fails the test where it does not come.
func Until(t testing.TB, what string, done func() bool) {
	t.Helper()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for end := time.After(patience); !done(); {
		select {
		case <-end:
			t.Fatalf("%v have passed before %s", patience, what)
		case <-tick.C:
		}
	}
}
