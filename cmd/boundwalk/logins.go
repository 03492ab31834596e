package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"boundwalk/cmd/internal/report"
	"boundwalk/inventory"
	"boundwalk/store"
)

// showLogins lists what factory accounts are known to be taken, and every try.
func showLogins(v *view) error {
	tries, err := v.book.LoginTries(v.cmd.Context(), "", nil)
	if err != nil {
		return err
	}
	if v.json {
		return report.LoginsJSON(v.w, tries, v.snap.Logins)
	}
	return report.Logins(v.w, tries, v.snap.Logins, v.plan.Site.Location, v.style)
}

// lockKey is the device of a key that names a lock.
func lockKey(key string) (string, bool) { return strings.CutPrefix(key, "lock/") }

// acceptLock takes a device's lock as dealt with by a person, so that factory
// accounts may be checked there again, once the gate's other rules allow it.
func (a *app) acceptLock(ctx context.Context, plan *inventory.Plan, planPath, device string, dry bool) error {
	d, ok := plan.Device(device)
	if !ok {
		return &hintError{fmt.Errorf("lock/%s: the plan has no such device", device), `"boundwalk show logins" lists the locks`}
	}
	if dry {
		fmt.Fprintf(a.stdout, "the lock of %s would be taken as dealt with\n", device)
		return nil
	}
	l, err := store.Open(ctx, a.findLogbook(planPath))
	if err != nil {
		return err
	}
	defer l.Close()
	n, err := l.ClearLock(ctx, device, d.MACs, time.Now())
	if err != nil {
		return err
	}
	if n == 0 {
		return &hintError{fmt.Errorf("lock/%s: no sign of a lock stands there", device), `"boundwalk show logins" lists the locks`}
	}
	fmt.Fprintf(a.stdout, "%s: the lock is taken as dealt with; \"boundwalk run --logins\" checks again, at most once a day\n", device)
	return nil
}
