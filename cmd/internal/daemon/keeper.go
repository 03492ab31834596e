package daemon

import (
	"os"
	"strings"
	"sync"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// keeper has the last good plan.
type keeper struct {
	path    string
	mu      sync.Mutex
	plan    *inventory.Plan
	read    stamp
	problem string    // of the file as it is now; empty: it is the plan in use
	since   time.Time // of the problem
}

// stamp tells a file from what it was before.
type stamp struct {
	size int64
	at   time.Time
}

func stampOf(path string) stamp {
	i, err := os.Stat(path)
	if err != nil {
		return stamp{size: -1}
	}
	return stamp{i.Size(), i.ModTime()}
}

func newKeeper(path string, now time.Time) (*keeper, error) {
	k := &keeper{path: path}
	_, err := k.Refresh(now, true)
	return k, err
}

// Plan is the last good plan.
func (k *keeper) Plan() *inventory.Plan {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.plan
}

// Refresh reads the file if it changed, or by force, and reports whether there is
// a new plan. A bad file changes nothing but the problem, and is an error once.
func (k *keeper) Refresh(now time.Time, force bool) (changed bool, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	s := stampOf(k.path) // before the file is read: a change in between is seen next time
	if s == k.read && !force {
		return false, nil
	}
	k.read = s
	f, err := planfile.ReadFile(k.path)
	if err != nil {
		if k.problem == "" {
			k.since = now
		}
		k.problem, _, _ = strings.Cut(err.Error(), "\n")
		return false, err
	}
	k.plan, k.problem = f.Plan, ""
	return true, nil
}

// Problem is what is wrong with the file as it is, and since when; empty: nothing.
func (k *keeper) Problem() (string, time.Time) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.problem, k.since
}
