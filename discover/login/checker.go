package login

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"sync"
	"time"
)

// Checker tries factory accounts, one at a time. Keep one for the life of the
// process: it remembers when it last sent something.
type Checker struct {
	Ledger Ledger // required
	// ReadMAC asks the network, now, who has an address. nil: nothing is tried
	// beyond loopback.
	ReadMAC func(ctx context.Context, a netip.Addr) (Sighting, error)
	// SNMP reads sysUpTime.0 once, without a repeat. Accepted: it was read; Refused:
	// a report said wrong user or digest; else CannotTell. nil: communities are not checked.
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
	results := make([]Result, len(targets))
	if !c.mu.TryLock() {
		for i, t := range targets {
			results[i] = held(t, "another check is under way")
		}
		return results
	}
	defer c.mu.Unlock()
	for _, i := range c.order(ctx, targets) {
		results[i] = c.one(ctx, targets[i])
	}
	return results
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

// one checks one target: gate, pace, MAC, gate again, ledger, device, ledger.
func (c *Checker) one(ctx context.Context, t Target) Result {
	gate := Gate{Lab: c.Lab}
	if d := gate.onPaper(t); !d.Allowed {
		return held(t, d.Why)
	}
	if t.Account.Over == OverSNMP && c.SNMP == nil {
		return held(t, "SNMP is not at hand")
	}
	tries, err := c.Ledger.Tries(ctx, t.Device, t.MACs)
	if err != nil {
		return held(t, "the logbook could not be read")
	}
	// Most targets end here, before anything is sent, be it for the MAC.
	if d := onRecord(time.Now(), t, Sighting{MAC: firstMAC(t)}, tries); !d.Allowed {
		return held(t, d.Why)
	}
	if err := c.wait(ctx); err != nil {
		return held(t, "stopped before it was its turn")
	}
	seen, err := c.who(ctx, t.Address)
	if err != nil {
		return held(t, "no MAC could be read on its address")
	}
	now := time.Now()
	d := gate.Decide(now, t, seen, tries)
	if !d.Allowed {
		return held(t, d.Why)
	}
	id, err := c.Ledger.Reserve(ctx, Try{
		Device: t.Device, MAC: seen.MAC, Entry: t.Account.Entry, Over: t.Account.Over,
		At: now, Why: d.Why, Firmware: t.Firmware,
	}, t.MACs, len(tries))
	switch {
	case errors.Is(err, ErrReserved):
		return held(t, "another check took its turn")
	case err != nil:
		return held(t, "the logbook could not be written, and without a note there nothing is sent")
	}
	r := held(t, "")
	r.At = now
	c.attempt(ctx, t, &r)
	// The outcome is stored even if the run was stopped meanwhile.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if err := c.Ledger.Record(ctx, id, r); err != nil {
		r.Reason = fmt.Sprintf("%s (the outcome could not be stored; it counts as refused)", r.Reason)
	}
	return r
}

// attempt lets one login out.
func (c *Checker) attempt(ctx context.Context, t Target, r *Result) {
	timeout, dial := c.Timeout, c.dial
	if timeout <= 0 {
		timeout = 20 * time.Second
	}
	if dial == nil {
		dial = (&net.Dialer{}).DialContext
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	c.last = time.Now()
	a := attempt{
		account: t.Account, target: netip.AddrPortFrom(t.Address.Unmap(), t.Account.port()),
		dial: dial, snmp: c.SNMP, result: r,
	}
	a.run(ctx)
}

// wait keeps the pace.
func (c *Checker) wait(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	pace := c.Pace
	if pace <= 0 {
		pace = time.Second
	}
	timer := time.NewTimer(time.Until(c.last.Add(pace)))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-timer.C:
		return nil
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
