package discover

import (
	"context"
	"fmt"
	"net/netip"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/inventory"
)

// A run takes no longer than its slowest source, whatever the order, and its parts come in
// the order of the sources, whichever ended first. One that asks single addresses
// has what the sweeps saw.
func TestSourcesSideBySide(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		swept := newHeard()
		takes := func(d time.Duration) Source {
			return func(ctx context.Context, ev *inventory.Evidence) {
				select {
				case <-time.After(d):
				case <-ctx.Done():
				}
				ev.Capped = append(ev.Capped, d.String())
			}
		}
		sources := []Source{takes(time.Second), takes(7 * time.Second), takes(3 * time.Second),
			func(ctx context.Context, ev *inventory.Evidence) {
				takes(5*time.Second)(ctx, ev)
				swept.tell([]inventory.Sighting{{Addr: netip.MustParseAddr("203.0.113.9")}})
			},
			func(_ context.Context, ev *inventory.Evidence) {
				ev.Capped = append(ev.Capped, fmt.Sprint(len(swept.wait()), " seen"))
			},
			takes(2 * time.Second)}
		start := time.Now()
		var ev inventory.Evidence
		sideBySide(t.Context(), &ev, sources)
		if took := time.Since(start); took != 7*time.Second {
			t.Errorf("took %v, the slowest source 7 s", took)
		}
		if got, want := strings.Join(ev.Capped, ", "), "1s, 7s, 3s, 5s, 1 seen, 2s"; got != want {
			t.Errorf("parts in the order %s, want %s", got, want)
		}
	})
}

// An agent that takes its time is read as far as its time goes, and the run goes on.
func TestSlowAgent(t *testing.T) {
	up := uint32(1)
	ag, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"quay"}, Rows: mibrows.Agent(inventory.Agent{System: inventory.System{Name: "slow", UpTime: &up}})})
	if err != nil {
		t.Fatal(err)
	}
	if err := ag.SetFaults(simnet.Faults{Delay: 150 * time.Millisecond}); err != nil {
		t.Fatal(err)
	}
	plan := &inventory.Plan{Access: []inventory.Access{{Name: "yard", Version: "v2c", Community: "file:c"}},
		Devices: []inventory.Device{{Name: "slow", Role: inventory.Switch, Access: "yard", Agent: simnettest.Start(t, ag)}}}
	a := newAgents(plan, Options{Secrets: func(inventory.SecretRef) (string, error) { return "quay", nil }, Progress: func(string, int, int) {}})
	a.most = 200 * time.Millisecond // less than the two answers that it needs at least
	a.collect(t.Context(), nil)
	a.relearn(t.Context(), nil, false)
	var ev inventory.Evidence
	a.merge(&ev)
	c := ev.Coverage[0]
	if len(ev.Agents) != 1 || c.Result != inventory.Partial || c.Why != "reading it took longer than 200ms" {
		t.Errorf("%d agents, %+v", len(ev.Agents), c)
	}
}
