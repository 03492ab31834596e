package discover

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"slices"
	"time"

	"boundwalk/discover/arp"
	"boundwalk/discover/login"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// sourceLogin is the coverage of factory accounts and default communities.
const sourceLogin = "login"

// The community that agents come with ("the usual public community", RFC 3584,
// section 5.2.1), and what it is called in results.
const (
	usualCommunity = "public"
	usualEntry     = "usual-read-community"
)

// ownEntry names an account that stands at the device, not at a model.
const ownEntry = "own"

// logins checks factory accounts and default communities of planned devices.
// Whether one may be tried is login's gate to decide.
type logins struct {
	singles
	opts   Options
	agents *agents
	snap   *inventory.Snapshot // what the run knows so far
}

// checkLogins adds to the evidence what the devices take, and coverage for all
// that was not tried. It comes last in a run, when firmware and restarts are known.
func checkLogins(ctx context.Context, plan *inventory.Plan, opts Options, agents *agents, ev *inventory.Evidence) {
	ev.Finished = time.Now()
	l := logins{singles: singles{plan: plan, at: ev.Attached}, opts: opts, agents: agents,
		snap: inventory.Assemble(plan, ev, nil, nil)}
	for _, j := range agents.jobs {
		if j.asksByUsual() {
			l.add(ev, inventory.LoginResult{Device: j.device.Name, Entry: usualEntry, Over: string(login.OverSNMP), Outcome: inventory.LoginCommunity,
				Why: "the plan itself asks it by the usual community", When: ev.Finished})
		}
	}
	targets := l.only(ev, l.targets(ev))
	if len(targets) == 0 {
		return
	}
	if opts.Ledger == nil {
		for _, t := range targets {
			t.Account.Password.Wipe()
			l.add(ev, notChecked(t.Device, t.Account.Entry, string(t.Account.Over), "without a logbook to count the tries in, none is made", ev.Finished))
		}
		return
	}
	opts.Progress("factory accounts", 0, len(targets))
	c := login.Checker{Ledger: opts.Ledger, ReadMAC: l.readMAC, SNMP: l.uptime, Lab: l.lab()}
	if !slices.ContainsFunc(targets, func(t login.Target) bool { return !t.Address.IsLoopback() }) {
		c.Pace = time.Millisecond // agents on loopback that stand in for devices load no network
	}
	for _, r := range c.Check(ctx, targets) {
		l.add(ev, l.told(r))
	}
	opts.Progress("factory accounts", len(targets), len(targets))
}

// only keeps the targets that this survey is about, and tells the others as not checked.
func (l logins) only(ev *inventory.Evidence, targets []login.Target) []login.Target {
	if l.opts.LoginsOf == nil {
		return targets
	}
	var out []login.Target
	for _, t := range targets {
		if slices.Contains(l.opts.LoginsOf, t.Device) {
			out = append(out, t)
			continue
		}
		t.Account.Password.Wipe()
		l.add(ev, notChecked(t.Device, t.Account.Entry, string(t.Account.Over), "this run was about other devices", ev.Finished))
	}
	return out
}

// asksByUsual reports whether the agent was read by the usual community just now.
func (j *agentJob) asksByUsual() bool {
	return j.ok && j.cred.Version != "3" && string(j.cred.Community) == usualCommunity
}

// targets are the planned devices' factory accounts, then the default community
// of each planned agent that answered. What cannot be one is coverage.
func (l logins) targets(ev *inventory.Evidence) []login.Target {
	var out []login.Target
	for i := range l.plan.Devices {
		d := &l.plan.Devices[i]
		f := d.FactoryLogin
		if f == nil {
			continue
		}
		t := l.target(d)
		t.Account = account(d)
		if f.Over == string(login.OverSNMP) {
			j := l.agents.job(d.Name)
			switch {
			case f.User != "":
				l.add(ev, notChecked(d.Name, t.Account.Entry, f.Over, "the plan does not say by which algorithms a factory user of SNMPv3 logs in", ev.Finished))
				continue
			case j != nil && j.skip == nil && j.cred.Version != "3":
				t.SameAsIntended = string(j.cred.Community) == string(f.Password)
			}
			if j != nil && f.Port == 0 && j.target.IsValid() {
				t.Address, t.Account.Port = j.target.Addr(), j.target.Port()
			}
		}
		if !t.Address.IsValid() {
			l.add(ev, notChecked(d.Name, t.Account.Entry, f.Over, "no address of it is known", ev.Finished))
			continue
		}
		out = append(out, t)
	}
	for _, j := range l.agents.jobs {
		f := j.device.FactoryLogin
		switch {
		case j.asksByUsual(), f != nil && f.Over == string(login.OverSNMP) && f.User == "" && string(f.Password) == usualCommunity:
			continue // told, or asked as the plan's own account
		case j.skip != nil:
			l.add(ev, notChecked(j.device.Name, usualEntry, string(login.OverSNMP), "its agent is not asked: "+j.skip.Why, ev.Finished))
			continue
		case !j.ok:
			l.add(ev, notChecked(j.device.Name, usualEntry, string(login.OverSNMP), "its agent did not answer to its own access, so silence would tell nothing", ev.Finished))
			continue
		}
		t := l.target(j.device)
		t.Address = j.target.Addr()
		t.LeaveAlone = t.LeaveAlone || slices.Contains(l.plan.LeaveAlone, t.Address)
		t.Account = login.Account{Entry: usualEntry, Over: login.OverSNMP, Port: j.target.Port(), Password: login.NewSecret(usualCommunity)}
		out = append(out, t)
	}
	return out
}

// target is a device without an account yet.
func (l logins) target(d *inventory.Device) login.Target {
	t := login.Target{Device: d.Name, Address: d.Address(), Asked: l.opts.LoginsAsked}
	for _, m := range d.MACs {
		t.MACs = append(t.MACs, m)
	}
	if seen, ok := l.snap.Device(d.Name); ok {
		t.Firmware = seen.Firmware
		if seen.UpTime != nil {
			t.Booted = seen.UpTime.Read.Add(-seen.UpTime.Up)
		}
		if i := slices.IndexFunc(seen.Addrs, l.near); !t.Address.IsValid() && i >= 0 {
			t.Address = seen.Addrs[i]
		}
	}
	t.LeaveAlone = slices.ContainsFunc(append(slices.Clone(d.Addresses), t.Address), func(a netip.Addr) bool { return slices.Contains(l.plan.LeaveAlone, a) })
	switch l.plan.FactoryLogins {
	case inventory.LoginsOnRequest:
		t.Switch = login.OnRequest
	case inventory.LoginsAfterChange:
		t.Switch = login.AfterChange
	}
	return t
}

func account(d *inventory.Device) login.Account {
	f := d.FactoryLogin
	a := login.Account{Entry: d.Model, Over: login.Over(f.Over), Port: f.Port, TLS: f.TLS, Path: f.Path, User: f.User,
		Password: login.NewSecret(string(f.Password)), Contrast: f.Contrast, SetupSign: f.Setup}
	if a.Entry == "" {
		a.Entry = ownEntry
	}
	if a.Over == login.OverForm {
		a.Form = login.Form{UserField: f.UserKey, PassField: f.PassKey, Fields: f.Fields, Success: f.Success,
			Failure: f.Failure, Post: f.Post, Proof: f.Proof}
	}
	return a
}

func (a *agents) job(device string) *agentJob {
	for _, j := range a.jobs {
		if j.device.Name == device {
			return j
		}
	}
	return nil
}

// lab is what else may be tried than private addresses: agents on loopback, and
// attached networks of documentation addresses, which exist in test networks only.
func (l logins) lab() []netip.Prefix {
	out := []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}
	for _, a := range l.at {
		if n, ok := l.plan.NetworkNamed(a.Network); ok {
			out = append(out, n.Subnet)
		}
	}
	return out
}

var errNotAttached = errors.New("no ARP for it: this machine is not attached to its network")

// readMAC asks the network, now, who has an address. Where any but a planned MAC
// answers, or the kernel would send to one, that one is told.
func (l logins) readMAC(ctx context.Context, a netip.Addr) (login.Sighting, error) {
	n, ok := l.plan.NetworkOf(a)
	i := slices.IndexFunc(l.at, func(x inventory.Attached) bool { return ok && x.Network == n.Name && x.Up })
	if !l.near(a) || i < 0 || !a.Is4() || n.Subnet.Bits() < 16 {
		return login.Sighting{}, fmt.Errorf("%s: %w", a, errNotAttached)
	}
	iface := l.at[i].Interface
	o := arp.Options{Prefix: n.Subnet}
	for x := n.Subnet.Masked().Addr(); n.Subnet.Contains(x); x = x.Next() {
		if x != a {
			o.Skip = append(o.Skip, x)
		}
	}
	r, err := arp.Sweep(ctx, iface, o)
	if errors.Is(err, os.ErrPermission) {
		r, err = arp.Wake(ctx, iface, o)
	}
	if err != nil {
		return login.Sighting{}, err
	}
	var seen []login.Sighting
	for _, x := range slices.Concat(r.Replies, r.Heard) {
		if x.Addr == a {
			seen = append(seen, login.Sighting{MAC: x.MAC, At: x.Last})
		}
	}
	if len(r.Replies) == 0 {
		seen = nil // hearsay alone proves nothing
	}
	if list, err := arp.Neighbors(ctx, iface); err == nil {
		for _, x := range list {
			if x.Addr == a && len(seen) > 0 {
				seen = append(seen, login.Sighting{MAC: x.MAC, At: seen[0].At})
			}
		}
	}
	return l.worst(a, seen), nil
}

// worst is a sighting of a MAC that is not planned at the address, if there is one.
func (l logins) worst(a netip.Addr, seen []login.Sighting) login.Sighting {
	var planned []inventory.MAC
	for _, d := range l.plan.Devices {
		s, ok := l.snap.Device(d.Name)
		if slices.Contains(d.Addresses, a) || len(d.Addresses) == 0 && ok && slices.Contains(s.Addrs, a) {
			planned = append(planned, d.MACs...)
		}
	}
	for _, s := range seen {
		if !slices.Contains(planned, inventory.MAC(s.MAC)) {
			return s
		}
	}
	if len(seen) == 0 {
		return login.Sighting{}
	}
	return seen[0]
}

// How long an agent has for its one answer: first contact waits half of it. On
// loopback there is no way that could be long.
const (
	agentWait    = 4 * time.Second
	loopbackWait = 600 * time.Millisecond
)

// uptime reads sysUpTime.0 once, under the community and with no repeat.
func (l logins) uptime(ctx context.Context, t login.SNMPTry) (login.Outcome, error) {
	cred := snmp.Credentials{Version: "2c", Community: snmp.Secret(t.Secret.Reveal())}
	for _, j := range l.agents.jobs {
		if j.target == t.Agent && j.cred.Version == "1" {
			cred.Version = "1"
		}
	}
	wait := agentWait
	if t.Agent.Addr().IsLoopback() {
		wait = loopbackWait
	}
	c, err := snmp.Dial(ctx, t.Agent, cred, snmp.Options{Timeout: wait, Retries: -1, Sockets: 1})
	if err != nil {
		return login.CannotTell, err
	}
	c.Close() // it was read; how the socket closes tells nothing
	return login.Accepted, nil
}

func notChecked(device, entry, over, why string, now time.Time) inventory.LoginResult {
	return inventory.LoginResult{Device: device, Entry: entry, Over: over, Outcome: inventory.LoginNotChecked, Why: why, When: now}
}

// told is a check in the evidence's words.
func (l logins) told(r login.Result) inventory.LoginResult {
	x := inventory.LoginResult{Device: r.Device, Entry: r.Entry, Over: string(r.Over), Outcome: string(r.Outcome), Why: r.Reason, When: r.At, Fingerprint: r.Fingerprint}
	if r.Over == login.OverSNMP && r.Outcome == login.Accepted {
		x.Outcome = inventory.LoginCommunity
	}
	if r.Unguarded {
		x.Why = join(x.Why, "it gives what lies behind the login to anyone")
	}
	return x
}

// add keeps a result, with its coverage. An agent that answers its own access and is
// silent under the usual community was looked at: more than silence it never gives.
func (l logins) add(ev *inventory.Evidence, r inventory.LoginResult) {
	ev.Logins = append(ev.Logins, r)
	c := inventory.Coverage{Subject: r.Device, Table: "factory account over " + r.Over, Source: sourceLogin, Result: inventory.Complete, Why: r.Why}
	if r.Entry == usualEntry {
		c.Table = "usual community"
	}
	switch r.Outcome {
	case inventory.LoginNotChecked:
		c.Result = inventory.Skipped
	case inventory.LoginLocked:
		c.Result = inventory.Refused
	case inventory.LoginCannotTell:
		if r.Entry != usualEntry {
			c.Result = inventory.Partial
		}
	}
	ev.Coverage = append(ev.Coverage, c)
}
