package login

import (
	"context"
	"net"
	"net/netip"
	"slices"
	"sync"
	"time"
)

// Checker tries factory accounts, one at a time; only the reads of single agents
// overlap, whose silence would else add up. Keep one for the life of the
// process: it remembers when it last sent something.
type Checker struct {
	Ledger Ledger // required
	// ReadMAC asks the network, now, who has an address. nil: nothing is tried
	// beyond loopback.
	ReadMAC func(ctx context.Context, a netip.Addr) (Sighting, error)
	// SNMP reads sysUpTime.0 once, without a repeat. Accepted: it was read; Refused:
	// a report said wrong user or digest; else CannotTell. nil: communities are not checked.
	// It is called for several devices at once.
	SNMP    func(ctx context.Context, t SNMPTry) (Outcome, error)
	Lab     []netip.Prefix // as Gate.Lab
	Pace    time.Duration  // least time between two tries; zero: 1 s
	Timeout time.Duration  // most for one try, a contrast included; zero: 20 s

	mu   sync.Mutex
	last time.Time // when the latest try began
	dial func(ctx context.Context, network, address string) (net.Conn, error)
}

// Check tries what the gate allows and gives a result for each target, in their
// order. It blocks for Pace and Timeout at most per target. It goes by what
// was tried longest ago first, so that several accounts of one device take turns.
// It owns the targets' passwords and wipes them before it returns. A second
// Check while one runs checks nothing and says so.
func (c *Checker) Check(ctx context.Context, targets []Target) []Result {
	defer func() {
		for _, t := range targets {
			t.Account.Password.Wipe()
		}
	}()
	r := newRound(c, targets)
	if !c.mu.TryLock() {
		for i, t := range targets {
			r.results[i] = held(t, "another check is under way")
		}
		return r.results
	}
	defer c.mu.Unlock()
	for _, i := range c.order(ctx, targets) {
		r.one(ctx, i)
	}
	r.settle(ctx, 0)
	return r.results
}

// order is the targets' indices, by their account's latest try.
func (c *Checker) order(ctx context.Context, targets []Target) []int {
	at := make([]time.Time, len(targets))
	order := make([]int, len(targets))
	for i, t := range targets {
		order[i] = i
		tries, err := c.Ledger.Tries(ctx, t.Device, t.MACs)
		if err != nil {
			continue // one will say so
		}
		for _, y := range tries {
			if y.Entry == t.Account.Entry && y.At.After(at[i]) {
				at[i] = y.At
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return at[a].Compare(at[b]) })
	return order
}

// held is the result of a check that did not take place.
func held(t Target, why string) Result {
	return Result{
		Device: t.Device, Entry: t.Account.Entry, Over: t.Account.Over, Port: t.Account.port(),
		At: time.Now(), Outcome: NotChecked, Reason: why,
	}
}

func (c *Checker) who(ctx context.Context, a netip.Addr) (Sighting, error) {
	if a.Unmap().IsLoopback() || c.ReadMAC == nil {
		return Sighting{}, nil
	}
	return c.ReadMAC(ctx, a)
}

// firstMAC stands in for the MAC that is not read yet, so that the record alone is judged.
func firstMAC(t Target) [6]byte {
	if len(t.MACs) == 0 || t.Address.Unmap().IsLoopback() {
		return [6]byte{}
	}
	return t.MACs[0]
}
