package report

import (
	"encoding/json"
	"fmt"
	"time"

	"boundwalk/cmd/internal/pass"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// ParseRun reads what RunJSON wrote, as far as it holds: there is no snapshot
// and no plan in it.
func ParseRun(text []byte) (*pass.Result, error) {
	var j runJSON
	if err := json.Unmarshal(text, &j); err != nil {
		return nil, fmt.Errorf("report of a run: %w", err)
	}
	r := &pass.Result{ID: j.Run.ID, Settling: j.Run.Settling, Outcome: store.Outcome{Hushed: map[string]string{}}}
	for _, f := range j.Findings {
		r.Findings = append(r.Findings, diff.Finding{Key: f.Key, Kind: diff.Kind(f.Kind), Severity: diff.Severity(f.Severity), Subject: f.Subject,
			Where: deref(f.Where), Expected: deref(f.Expected), Observed: deref(f.Observed), Basis: inventory.Basis(deref(f.Basis)),
			Since: deref(f.Since), Advice: deref(f.Advice), Caution: deref(f.Caution), Behind: f.Behind})
		if f.Hushed != nil {
			r.Hushed[f.Key] = *f.Hushed
		}
	}
	return r, nil
}

func deref[T string | time.Time](p *T) T {
	if p == nil {
		var zero T
		return zero
	}
	return *p
}
