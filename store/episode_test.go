package store_test

import (
	"errors"
	"net/netip"
	"slices"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

func keys(fs []diff.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Key)
	}
	slices.Sort(out)
	return out
}

func same(t *testing.T, what string, got []diff.Finding, want ...string) {
	t.Helper()
	if k := keys(got); !slices.Equal(k, want) {
		t.Errorf("%s: %q, want %q", what, k, want)
	}
}

// A finding opens, is still there, clears, and opens anew as another episode.
func TestEpisode(t *testing.T) {
	l := open(t)
	f := finding(diff.LinkDown, "quay-switch/5")
	hour := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Hour) }

	out := save(t, l, quay(), look(noon), f, f) // told twice by mistake: kept once
	same(t, "opened", out.Opened, f.Key)
	same(t, "all", out.Findings, f.Key)
	if !out.Findings[0].Since.Equal(noon) {
		t.Errorf("since %v, want %v", out.Findings[0].Since, noon)
	}
	f.Severity, f.Observed = diff.Urgent, "down for an hour"
	out = save(t, l, quay(), look(hour(1)), f)
	same(t, "opened when still there", out.Opened)
	if !out.Findings[0].Since.Equal(noon) {
		t.Errorf("still there since %v, want %v", out.Findings[0].Since, noon)
	}
	if got, err := l.OpenFinding(t.Context(), f.Key); err != nil || got.Observed != f.Observed || got.Severity != diff.Urgent || !got.Since.Equal(noon) {
		t.Errorf("the open finding is %+v, %v", got, err)
	}
	if e := history(t, l, hour(1)).Open[f.Key]; e.Kind != "link-down" || e.Severity != "urgent" || !e.Opened.Equal(noon) || !e.Seen.Equal(hour(1)) {
		t.Errorf("history has it as %+v", e)
	}
	out = save(t, l, quay(), look(hour(2)))
	same(t, "cleared", out.Cleared, f.Key)
	if _, err := l.OpenFinding(t.Context(), f.Key); !errors.Is(err, store.ErrNoFinding) {
		t.Errorf("a cleared finding gives %v, want ErrNoFinding", err)
	}
	out = save(t, l, quay(), look(hour(3)), f)
	same(t, "opened anew", out.Opened, f.Key)
	if !out.Findings[0].Since.Equal(hour(3)) {
		t.Errorf("since %v, want the new episode's %v", out.Findings[0].Since, hour(3))
	}

	all, err := l.Episodes(t.Context(), noon)
	if err != nil || len(all) != 2 || !all[0].Cleared.Equal(hour(2)) || !all[1].Cleared.IsZero() {
		t.Errorf("episodes: %+v, %v", all, err)
	}
	if lately, _ := l.Episodes(t.Context(), hour(3)); len(lately) != 1 {
		t.Errorf("%d episodes since the second opened, want 1", len(lately))
	}
	if now, _ := l.Episodes(t.Context(), time.Time{}); len(now) != 1 || now[0].ID != all[1].ID {
		t.Errorf("open ones: %+v", now)
	}
}

func TestHush(t *testing.T) {
	l := open(t)
	a, b := finding(diff.LinkDown, "quay-switch/5"), finding(diff.LinkSlow, "quay-switch/6")
	until := noon.Add(2 * time.Hour)
	if err := l.Hush(t.Context(), store.Hush{Key: a.Key, Since: noon, Until: until, Why: "the painter"}); err != nil {
		t.Fatal(err)
	}
	out := save(t, l, quay(), look(noon.Add(time.Hour)), a, b)
	same(t, "opened", out.Opened, b.Key)
	if len(out.Findings) != 2 || out.Hushed[a.Key] != "the painter" || len(out.Hushed) != 1 {
		t.Errorf("all %q, hushed %q", keys(out.Findings), out.Hushed)
	}
	if e := history(t, l, noon.Add(time.Hour)).Open[a.Key]; !e.HushedUntil.Equal(until) || e.HushWhy != "the painter" {
		t.Errorf("history has it as %+v", e)
	}
	if h, err := l.Hushes(t.Context(), until); len(h) != 0 || err != nil {
		t.Errorf("hushes when the time has come: %+v, %v", h, err)
	}
	out = save(t, l, quay(), look(until), a, b)
	if len(out.Hushed) != 0 {
		t.Errorf("after its time it is still hushed: %q", out.Hushed)
	}
	if err := l.Hush(t.Context(), store.Hush{Key: store.HushAll, Since: until, Until: until.Add(2 * time.Hour), Why: "rewiring"}); err != nil {
		t.Fatal(err)
	}
	out = save(t, l, quay(), look(until.Add(time.Hour)), b)
	same(t, "cleared while all is quiet", out.Cleared)
	if out.Hushed[b.Key] != "rewiring" {
		t.Errorf("hushed: %q", out.Hushed)
	}
}

// An edit makes of a whole snapshot what another run would have seen.
type edit func(*inventory.Snapshot)

func all(*inventory.Snapshot) {}

// stranger is an unknown device that was seen on port 9.
func stranger() diff.Finding {
	f := finding(diff.UnknownDevice, mac(0x66).String())
	f.MACs, f.Where = []inventory.MAC{mac(0x66)}, "quay-switch/9"
	return f
}

func withStranger(s *inventory.Snapshot) {
	s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(0x66).String(), MACs: []inventory.MAC{mac(0x66)}, Presence: inventory.Present,
		Addrs: []netip.Addr{netip.MustParseAddr("203.0.113.140")}})
}

func network(name string, r inventory.Result) edit {
	return func(s *inventory.Snapshot) {
		for i := range s.Networks {
			if s.Networks[i].Name == name {
				s.Networks[i].Looked = r
			}
		}
	}
}

func table(name string, r inventory.Result) edit {
	return func(s *inventory.Snapshot) { s.Agents[0].Tables[name] = r }
}

// silent makes the switch tell nothing.
func silent(r inventory.Result) edit {
	return func(s *inventory.Snapshot) {
		s.Agents[0] = inventory.AgentState{Device: "quay-switch", Result: r}
	}
}

// camSeen is how the run saw slip-cam.
func camSeen(presence inventory.Presence, basis inventory.Basis) edit {
	return func(s *inventory.Snapshot) { s.Devices[1].Presence, s.Devices[1].Place.Basis = presence, basis }
}

func both(edits ...edit) edit {
	return func(s *inventory.Snapshot) {
		for _, f := range edits {
			f(s)
		}
	}
}

var looks = []struct {
	name     string
	f        diff.Finding
	before   edit
	after    edit
	settling bool
	open     bool
}{
	{"a missing device that came back", finding(diff.MissingDevice, "slip-cam"), all, all, false, false},
	{"a missing device whose network was not swept to the end", finding(diff.MissingDevice, "slip-cam"), all, camSeen(inventory.NotLooked, ""), false, true},
	{"a missing device that the plan no longer names", finding(diff.MissingDevice, "old-cam"), all, all, false, false},
	{"a missing device in a settling run", finding(diff.MissingDevice, "slip-cam"), all, all, true, true},
	{"a link down in a settling run", finding(diff.LinkDown, "quay-switch/5"), all, all, true, true},
	{"a slow link in a settling run", finding(diff.LinkSlow, "quay-switch/5"), all, all, true, false},
	{"a port near, its table read", finding(diff.PortPowerNear, "quay-switch/5"), all, all, false, false},
	{"a port near, its switch silent", finding(diff.PortPowerNear, "quay-switch/5"), all, silent(inventory.NoAnswer), false, true},
	{"a port near, its switch refusing", finding(diff.PortPowerNear, "quay-switch/5"), all, silent(inventory.Refused), false, true},
	{"a port near, its table cut short", finding(diff.PortPowerNear, "quay-switch/5"), all, table(inventory.TablePSE, inventory.Partial), false, true},
	{"a port near, another table cut short", finding(diff.PortPowerNear, "quay-switch/5"), all, table(inventory.TableLLDP, inventory.Partial), false, false},
	{"a supply near, its switch silent", finding(diff.SupplyPowerNear, "quay-switch supply 1"), all, silent(inventory.NoAnswer), false, true},
	{"a supply near, its table no longer offered", finding(diff.SupplyPowerNear, "quay-switch supply 1"), all,
		table(inventory.TablePSE, inventory.NotOffered), false, false},
	{"a slow link, its counters cut short", finding(diff.LinkSlow, "quay-switch/5"), all, table(inventory.TableInterfaces, inventory.NoAnswer), false, true},
	{"an unknown device, gone from a swept network", stranger(), withStranger, all, false, false},
	{"an unknown device, nobody could look", stranger(), withStranger, both(network("cameras", inventory.Partial), silent(inventory.NoAnswer)), false, true},
	{"an unknown device, its interface lost", stranger(), withStranger,
		both(network("cameras", inventory.Skipped), table(inventory.TableFDB, inventory.Partial)), false, true},
	{"an unknown device, only its switch looked", stranger(), withStranger, network("cameras", inventory.Partial), false, false},
	{"an unknown device without address, its switch silent", stranger(), all, silent(inventory.NoAnswer), false, true},
	{"an unknown device that is known now", stranger(), withStranger,
		both(withStranger, network("cameras", inventory.Partial), silent(inventory.NoAnswer)), false, false},
	{"a doubled address, its network swept", finding(diff.AddressConflict, "203.0.113.140"), all, all, false, false},
	{"a doubled address, its network cut short", finding(diff.AddressConflict, "203.0.113.140"), all, network("cameras", inventory.Partial), false, true},
	{"a doubled address, another network cut short", finding(diff.AddressConflict, "203.0.113.140"), all, network("yard", inventory.Partial), false, false},
	{"proxy ARP, a network cut short", finding(diff.ProxyARP, "quay-router"), all, network("yard", inventory.Refused), false, true},
	{"a network that the plan lacks, its neighbour table read", finding(diff.WrongNetwork, "192.0.2.0/24"), all, all, false, false},
	{"a network that the plan lacks, its switch silent", finding(diff.WrongNetwork, "192.0.2.0/24"), all, silent(inventory.NoAnswer), false, true},
	{"a device in the wrong network, its switch silent", finding(diff.WrongNetwork, "slip-cam"), all, silent(inventory.NoAnswer), false, false},
	{"phones counted, their network cut short", finding(diff.ChangingMACDevices, "yard"), all, network("yard", inventory.Partial), false, true},
	{"a moved device seen at a port", finding(diff.MovedDevice, "slip-cam"), all, all, false, false},
	{"a moved device that was silent", finding(diff.MovedDevice, "slip-cam"), all, camSeen(inventory.Present, inventory.Remembered), false, true},
	{"an agent that answers again", finding(diff.CouldNotLook, "quay-switch"), all, all, false, false},
	{"a finding about nothing", diff.Finding{Key: "cut-off/", Kind: diff.CutOff}, all, all, false, false},
	{"an outage of the line", finding(diff.InternetDown, "internet line"), all, all, false, false},
}

// Rule 1: what could not be looked at is not mended, and what was looked at is.
func TestNotLookedIsNotMended(t *testing.T) {
	for _, c := range looks {
		t.Run(c.name, func(t *testing.T) {
			l := open(t)
			s := look(noon)
			c.before(s)
			save(t, l, quay(), s, c.f)
			s = look(noon.Add(time.Hour))
			c.after(s)
			out, err := trySave(l, quay(), s, c.settling)
			if err != nil {
				t.Fatal(err)
			}
			_, err = l.OpenFinding(t.Context(), c.f.Key)
			if open := err == nil; open != c.open || (len(out.Cleared) == 0) != c.open {
				t.Errorf("open: %v, cleared: %q; want open: %v", open, keys(out.Cleared), c.open)
			}
		})
	}
}

// What is folded into one cause is told as part of it, not as mended.
func TestFoldedIsNotTold(t *testing.T) {
	l := open(t)
	save(t, l, quay(), look(noon), finding(diff.MissingDevice, "slip-cam"))
	f := finding(diff.MissingDevice, "quay-switch")
	f.Behind = []string{"slip-cam"}
	out := save(t, l, quay(), look(noon.Add(time.Hour)), f)
	same(t, "cleared", out.Cleared)
	same(t, "opened", out.Opened, f.Key)
	if open, _ := l.Episodes(t.Context(), time.Time{}); len(open) != 1 {
		t.Errorf("open: %+v", open)
	}
}

func TestTold(t *testing.T) {
	l := open(t)
	save(t, l, quay(), look(noon), finding(diff.LinkDown, "quay-switch/5"), finding(diff.LinkDown, "quay-switch/6"))
	eps, _ := l.Episodes(t.Context(), time.Time{})
	at := noon.Add(time.Minute)
	m := store.Letter{Kind: "urgent", Key: "urgent/1", Body: []byte("x")}
	if err := l.Told(t.Context(), []int64{eps[0].ID}, false, m, at); err != nil {
		t.Fatal(err)
	}
	m.Key = "over/1"
	if err := l.Told(t.Context(), []int64{eps[0].ID}, true, m, at.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	eps, _ = l.Episodes(t.Context(), time.Time{})
	if !eps[0].Told.Equal(at) || !eps[0].Over.Equal(at.Add(time.Hour)) || !eps[1].Told.IsZero() || !eps[1].Over.IsZero() {
		t.Errorf("told: %+v", eps)
	}
	if due, _ := l.Due(t.Context(), at.Add(time.Hour)); len(due) != 2 {
		t.Errorf("letters: %+v", due)
	}
}
