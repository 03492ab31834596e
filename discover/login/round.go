package login

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"time"
)

// agentsAtOnce bounds how many agents may owe their one answer at a time. Each is
// sent one datagram, at the checker's pace, so a weak link carries no more than else.
const agentsAtOnce = 16

// round is one Check: its results, and which tries are under way.
type round struct {
	*Checker
	targets []Target
	results []Result
	away    map[int]bool // by index of the target
	back    chan landed
}

// landed is a try that is over and not in the ledger yet.
type landed struct {
	target int
	id     int64 // in the ledger
	result Result
}

func newRound(c *Checker, targets []Target) *round {
	return &round{Checker: c, targets: targets, results: make([]Result, len(targets)),
		away: map[int]bool{}, back: make(chan landed, len(targets))}
}

// one checks one target: gate, pace, MAC, gate again, ledger, device, ledger.
func (r *round) one(ctx context.Context, i int) {
	t := r.targets[i]
	r.makeRoom(ctx, t)
	id, why := r.reserve(ctx, t)
	r.results[i] = held(t, why)
	if why != "" {
		return
	}
	r.last = time.Now()
	r.away[i] = true
	if t.Account.Over == OverSNMP {
		go r.attempt(ctx, i, id)
		return
	}
	r.attempt(ctx, i, id)
	r.settle(ctx, 0)
}

// makeRoom waits until t may be tried beside what is under way: reads of single
// agents overlap, two tries of one device never do, and a login is tried alone.
func (r *round) makeRoom(ctx context.Context, t Target) {
	room := agentsAtOnce - 1
	if t.Account.Over != OverSNMP {
		room = 0
	}
	for i := range r.away {
		if o := r.targets[i]; o.Device == t.Device || o.Address == t.Address && o.Account.port() == t.Account.port() {
			room = 0
		}
	}
	r.settle(ctx, room)
}

// settle takes in tries until at most room are under way.
func (r *round) settle(ctx context.Context, room int) {
	for len(r.away) > room {
		r.land(ctx, <-r.back)
	}
}

// land notes how a try ended, even if the run was stopped meanwhile.
func (r *round) land(ctx context.Context, l landed) {
	delete(r.away, l.target)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if err := r.Ledger.Record(ctx, l.id, l.result); err != nil {
		l.result.Reason = fmt.Sprintf("%s (the outcome could not be stored; it counts as refused)", l.result.Reason)
	}
	r.results[l.target] = l.result
}

// reserve notes a try in the ledger before it is sent, or says why there is none.
func (r *round) reserve(ctx context.Context, t Target) (id int64, why string) {
	gate := Gate{Lab: r.Lab}
	if d := gate.onPaper(t); !d.Allowed {
		return 0, d.Why
	}
	if t.Account.Over == OverSNMP && r.SNMP == nil {
		return 0, "SNMP is not at hand"
	}
	tries, err := r.Ledger.Tries(ctx, t.Device, t.MACs)
	if err != nil {
		return 0, "the logbook could not be read"
	}
	// Most targets end here, before anything is sent, be it for the MAC.
	if d := onRecord(time.Now(), t, Sighting{MAC: firstMAC(t)}, tries); !d.Allowed {
		return 0, d.Why
	}
	if err := r.wait(ctx); err != nil {
		return 0, "stopped before it was its turn"
	}
	seen, err := r.who(ctx, t.Address)
	if err != nil {
		return 0, "no MAC could be read on its address"
	}
	now := time.Now()
	d := gate.Decide(now, t, seen, tries)
	if !d.Allowed {
		return 0, d.Why
	}
	id, err = r.Ledger.Reserve(ctx, Try{
		Device: t.Device, MAC: seen.MAC, Entry: t.Account.Entry, Over: t.Account.Over,
		At: now, Why: d.Why, Firmware: t.Firmware,
	}, t.MACs, len(tries))
	switch {
	case errors.Is(err, ErrReserved):
		return 0, "another check took its turn"
	case err != nil:
		return 0, "the logbook could not be written, and without a note there nothing is sent"
	}
	return id, ""
}

// attempt lets one login out.
func (r *round) attempt(ctx context.Context, i int, id int64) {
	l := landed{target: i, id: id, result: held(r.targets[i], "")}
	timeout, dial := r.Timeout, r.dial
	if timeout <= 0 {
		timeout = 20 * time.Second
	}
	if dial == nil {
		dial = (&net.Dialer{}).DialContext
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	t := r.targets[i]
	a := attempt{
		account: t.Account, target: netip.AddrPortFrom(t.Address.Unmap(), t.Account.port()),
		dial: dial, snmp: r.SNMP, result: &l.result,
	}
	a.run(ctx)
	r.back <- l
}

// wait keeps the pace, and takes in meanwhile what is over.
func (r *round) wait(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	pace := r.Pace
	if pace <= 0 {
		pace = time.Second
	}
	timer := time.NewTimer(time.Until(r.last.Add(pace)))
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case l := <-r.back:
			r.land(ctx, l)
		case <-timer.C:
			return nil
		}
	}
}
