package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"boundwalk/cmd/internal/commission"
	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/daemon"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/report"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/store"
)

// lastLook bounds the last look: a person waits for it.
const lastLook = 2 * time.Minute

// looks are how a commission sees.
type looks struct {
	plan  *inventory.Plan // as it was when the command began; the records go by it
	path  string          // of its file
	file  string          // of the logbook
	book  *store.Logbook  // nil: it cannot be written
	why   error           // why not
	opts  discover.Options
	hist  *inventory.History
	maker func(inventory.MAC) string
	ears  *discover.Listener
	tell  func(string)
}

// commissionLooks makes the looks, with ears on the attached networks until the
// function that it returns is called. A logbook that cannot be written costs the
// keeping and the factory accounts, not the commission.
func (a *app) commissionLooks(ctx context.Context, plan *inventory.Plan, path string) (*looks, func(), error) {
	maker, err := a.makers()
	if err != nil {
		return nil, nil, err
	}
	l := &looks{plan: plan, path: path, file: a.findLogbook(path), opts: discover.Options{Asked: true, Secrets: secrets(path)},
		hist: &inventory.History{}, maker: maker,
		ears: &discover.Listener{}}
	var saying sync.Mutex
	l.tell = func(s string) {
		saying.Lock()
		defer saying.Unlock()
		fmt.Fprintf(a.stderr, "boundwalk: %s\n", s)
	}
	book, err := store.Open(ctx, l.file)
	if err == nil {
		l.book = book
	} else {
		l.why = err
		book, err = store.OpenReader(ctx, l.file)
	}
	if err == nil { // places remembered help; a commission needs none
		if h, err := book.History(ctx, time.Now(), plan.Site.Location); err == nil {
			l.hist = h
		}
	}
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := l.ears.Run(ctx, plan); err != nil && ctx.Err() == nil {
			l.tell(fmt.Sprintf("announcements are not heard: %v", err))
		}
	})
	return l, func() {
		cancel()
		wg.Wait()
		if book != nil {
			book.Close()
		}
	}, nil
}

func (l *looks) peek(ctx context.Context) map[string]string {
	return commission.Signs(discover.Pulse(ctx, l.plan, l.opts).Agents)
}

// look reads the agents, and asks the networks too where it may cost broadcasts.
func (l *looks) look(ctx context.Context, sweep bool) (*inventory.Snapshot, error) {
	opts := l.opts
	opts.AgentsOnly = !sweep
	opts.Further = []discover.Source{l.ears.Source(l.plan)}
	ev := survey(ctx, l.plan, opts)
	if ev.Aborted {
		return nil, pass.ErrAborted
	}
	return inventory.Assemble(l.plan, ev, l.hist, l.maker), nil
}

// survey is discover.Survey, and then a look into the ranges of factory addresses.
func survey(ctx context.Context, plan *inventory.Plan, opts discover.Options) *inventory.Evidence {
	ev := discover.Survey(ctx, plan, opts)
	if !ev.Aborted && !opts.AgentsOnly {
		discover.FactoryRanges(plan)(ctx, ev)
		ev.Aborted = ctx.Err() != nil
	}
	return ev
}

// last is the last look: a run of the logbook by the plan as it now is, in which
// the factory accounts of what came may be tried, and the records that are kept with it.
func (l *looks) last(ctx context.Context, plan *inventory.Plan, w commission.Watched, news []newcomer, name string) ([]commission.Record, error) {
	opts := l.opts
	opts.Deadline, opts.LoginsAsked, opts.LoginsOf = lastLook, true, tryable(l.plan, plan, w, name)
	opts.Further = []discover.Source{l.ears.Source(plan)}
	if l.book == nil {
		ev := survey(ctx, plan, opts)
		if ev.Aborted {
			return nil, pass.ErrAborted
		}
		records := l.judge(ctx, ev, w, news, name)
		l.askForRun(ctx, records)
		return records, nil
	}
	var records []commission.Record
	r := &pass.Runner{Plan: plan, Logbook: l.book, Maker: l.maker, Asked: "commission", Survey: opts, Look: survey,
		Facts: func(run int64, ev *inventory.Evidence) ([]store.Fact, error) {
			records = l.judge(ctx, ev, w, news, name)
			return facts(records, news, run)
		}}
	_, err := r.Run(ctx)
	if err != nil && (ctx.Err() != nil || records == nil) {
		return nil, err
	}
	if err != nil {
		for i := range records {
			records[i].Run, records[i].Unkept = nil, err.Error()
		}
	}
	return records, nil
}

// facts are what the logbook keeps of the records, by the names that it knows the devices by.
func facts(records []commission.Record, news []newcomer, run int64) ([]store.Fact, error) {
	var out []store.Fact
	for i := range records {
		r := &records[i]
		r.Run = &run
		if len(r.MACs) == 0 && !r.Planned {
			continue // nobody could ask for it by a name
		}
		text, err := json.Marshal(r)
		if err != nil {
			return nil, err
		}
		out = append(out, store.Fact{Name: recordFact(r.Device), Value: string(text)})
		for _, n := range news {
			if n.seen == r.Device && n.text != "" { // so it is called once it is in the plan
				out = append(out, store.Fact{Name: recordFact(n.entry.Name), Value: string(text)})
			}
		}
	}
	return out, nil
}

// tryable names the planned devices that came and whose factory accounts may be
// tried, as far as the gate lets them. Whose MAC address the plan has just been
// given must hang where it belongs: an address alone makes nobody known.
func tryable(was, plan *inventory.Plan, w commission.Watched, name string) []string {
	out := []string{}
	for _, seen := range w.Arrived {
		s, ok := w.After.Device(seen)
		d, planned := was.Device(cmp.Or(name, seen))
		if !ok || !planned {
			continue
		}
		now, still := plan.Device(d.Name)
		if still && (len(d.MACs) == len(now.MACs) || commission.Placed(plan, now, s)) {
			out = append(out, d.Name)
		}
	}
	return out
}

// judge makes the records of what came.
func (l *looks) judge(ctx context.Context, ev *inventory.Evidence, w commission.Watched, news []newcomer, name string) []commission.Record {
	now := time.Now()
	snap := inventory.Assemble(l.plan, ev, l.hist, l.maker)
	if len(w.Arrived) == 0 {
		w.After = snap
		return l.named(commission.Nothing(l.plan, w, now))
	}
	var out []commission.Record
	for _, seen := range w.Arrived {
		known := *snap
		if was, ok := w.After.Device(seen); ok {
			seen = again(snap, was)
			known.Logins = append(l.earlier(ctx, cmp.Or(name, seen), was.MACs), snap.Logins...)
		}
		r := commission.Judge(l.plan, &known, seen, name, now)
		for _, n := range news {
			if n.seen == seen {
				r.Entry, r.Check = n.text, n.check
			}
		}
		out = append(out, l.named(r)...)
	}
	return out
}

// named says which plan a record goes by, and why it is not kept.
func (l *looks) named(r commission.Record) []commission.Record {
	r.Plan = filepath.Base(l.path)
	if l.why != nil {
		r.Unkept = l.why.Error()
	}
	return []commission.Record{r}
}

// again finds a device in a later snapshot: its name may have changed with what
// is known of it, its MAC addresses have not.
func again(snap *inventory.Snapshot, was *inventory.SeenDevice) string {
	for i := range snap.Devices {
		s := &snap.Devices[i]
		if slices.ContainsFunc(was.MACs, func(m inventory.MAC) bool { return slices.Contains(s.MACs, m) }) {
			return s.Name
		}
	}
	return was.Name
}

// earlier are the logbook's login checks of a device, as long as it is the same one.
func (l *looks) earlier(ctx context.Context, device string, macs []inventory.MAC) []inventory.LoginResult {
	if l.book == nil {
		return nil
	}
	tries, err := l.book.LoginTries(ctx, device, macs)
	if err != nil {
		return nil // the gate will have said so
	}
	var out []inventory.LoginResult
	for _, t := range tries {
		if t.Outcome == store.LoginReserved || t.MAC != (inventory.MAC{}) && !slices.Contains(macs, t.MAC) {
			continue
		}
		r := inventory.LoginResult{Device: device, Entry: t.Entry, Over: t.Over, Outcome: t.Outcome, Why: t.Why, When: t.At}
		if r.Outcome == inventory.LoginAccepted && r.Over == "snmp" {
			r.Outcome = inventory.LoginCommunity
		}
		out = append(out, r)
	}
	return out
}

// askForRun has the service make a run, where it serves this plan and this user
// may not write its logbook: then the logbook knows what came all the same.
func (l *looks) askForRun(ctx context.Context, records []commission.Record) {
	c := control.Client{Path: daemon.SocketPath(l.plan)}
	if serves, err := serving(ctx, c, l.path, l.file); err != nil || !serves {
		return
	}
	l.tell("the service keeps the logbook: it is asked for a run")
	got, err := c.Run(ctx, nil)
	if err != nil {
		l.tell(fmt.Sprintf("the service's run: %v", err))
		return
	}
	res, err := report.ParseRun(got.Report)
	if err != nil {
		l.tell(fmt.Sprintf("the service's run: %v", err))
		return
	}
	for i := range records {
		records[i].Run, records[i].Unkept = &res.ID, "the service made the run; the record itself is not in its logbook"
	}
}
