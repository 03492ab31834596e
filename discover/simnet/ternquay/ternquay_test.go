package ternquay_test

import (
	"context"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/discover"
	"boundwalk/discover/simnet/ternquay"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// visit is the site with its plan, and what is remembered from run to run.
type visit struct {
	*ternquay.Site
	plan *inventory.Plan
	opts discover.Options
	hist inventory.History
}

func start(t testing.TB) *visit {
	t.Helper()
	s, err := ternquay.Start(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	dir := t.TempDir()
	if err := ternquay.WriteSecrets(dir); err != nil {
		t.Fatal(err)
	}
	f, err := planfile.Parse("plan.yaml", s.PlanYAML())
	if err != nil {
		t.Fatal(err)
	}
	v := &visit{Site: s, plan: f.Plan}
	v.opts.Secrets = func(r inventory.SecretRef) (string, error) {
		secret, err := planfile.Resolve(r, dir)
		return string(secret), err
	}
	v.hist = inventory.History{Absences: map[string]inventory.Absence{}, Uptimes: map[string][]inventory.UpTime{}, Last: map[string]time.Time{}}
	return v
}

// run looks at the site, and remembers it as the logbook would.
func (v *visit) run(t testing.TB) (*inventory.Snapshot, []diff.Finding) {
	t.Helper()
	ev := discover.Survey(t.Context(), v.plan, v.opts)
	snap := inventory.Assemble(v.plan, ev, &v.hist, nil)
	found := diff.Audit(v.plan, snap, &v.hist, ev.Finished)
	v.hist.Previous = snap
	for _, d := range snap.Devices {
		switch d.Presence {
		case inventory.Present:
			v.hist.Last[d.Name] = ev.Finished
			delete(v.hist.Absences, d.Name)
		case inventory.Absent:
			a := v.hist.Absences[d.Name]
			if a.Runs++; a.Runs == 1 {
				a.Since = ev.Finished
			}
			v.hist.Absences[d.Name] = a
		}
		if d.UpTime != nil {
			v.hist.Uptimes[d.Name] = slices.Insert(v.hist.Uptimes[d.Name], 0, *d.UpTime)
		}
	}
	return snap, found
}

// logins are the findings that take a logbook which counts tries: the command's
// own test has them.
const logins = "default-community/"

func keys(fs []diff.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Key)
	}
	slices.Sort(out)
	return out
}

// expected is what the last run must have, without changes that are still to come.
func expected(without ...string) []string {
	var out []string
	for _, k := range ternquay.Expected() {
		if !strings.HasPrefix(k, logins) && !slices.Contains(without, k) {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out
}

func isAway(d *inventory.Device, plan *inventory.Plan) bool {
	return d.AwayAt(time.Now().In(plan.Site.Location))
}

// As planned: the plan has no fault on paper, and every device stands where it
// says, as far as anything can show it.
func TestAsPlanned(t *testing.T) {
	t.Parallel()
	v := start(t)
	for _, f := range diff.Paper(v.plan) {
		t.Errorf("on paper: %s: %s", f.Key, f.Observed)
	}
	snap, found := v.run(t)
	var lasting []string
	for _, c := range ternquay.Changes() {
		lasting = append(lasting, c.Finding)
	}
	if got, want := keys(found), expected(lasting...); !slices.Equal(got, want) {
		t.Errorf("findings\n got %v\nwant %v", got, want)
	}
	for _, d := range snap.Devices {
		p, planned := v.plan.Device(d.Name)
		switch {
		case !planned:
			t.Errorf("%s is in no plan", d.Name)
		case p.Role.IsPassive():
			if d.Presence != inventory.Unseeable {
				t.Errorf("%s is %s", d.Name, d.Presence)
			}
		case isAway(p, v.plan):
		case d.Presence != inventory.Present:
			t.Errorf("%s is %s", d.Name, d.Presence)
		default:
			if at := v.plan.ManagedPort(p); !at.IsZero() && d.Place.Ref() != at {
				t.Errorf("%s hangs on %s, planned on %s", d.Name, d.Place.Ref(), at)
			}
		}
	}
	for _, c := range snap.Coverage {
		if c.Result != inventory.Complete && c.Result != inventory.NotOffered && c.Result != inventory.Skipped {
			t.Errorf("%s by %s: %s, %s", c.What(), c.Source, c.Result, c.Why)
		}
	}
	i := slices.IndexFunc(snap.Networks, func(n inventory.NetworkState) bool { return n.Name == "berths" })
	if n := snap.Networks[i].Counted; n != 4 {
		t.Errorf("%d devices counted on the berths, want 4", n)
	}
}

// The two readings of power that the agents give agree, and each way of knowing
// a figure stands somewhere.
func TestPower(t *testing.T) {
	t.Parallel()
	v := start(t)
	snap, _ := v.run(t)
	sum := map[string]inventory.Power{}
	bases := map[inventory.Basis]int{}
	for _, p := range snap.Ports {
		if p.Power == nil || p.Power.State != inventory.PSEDelivering {
			continue
		}
		bases[p.Power.DrawBasis]++
		if p.Power.Draw != nil {
			sum[p.Switch] += *p.Power.Draw
		}
		if p.Power.Sure != inventory.SureInferred {
			t.Errorf("%s/%s: its power row is %s by %s", p.Switch, p.Port, p.Power.Sure, p.Power.MappedBy)
		}
	}
	for _, b := range []inventory.Basis{inventory.Measured, inventory.Negotiated, inventory.Unknown} {
		if bases[b] < 3 {
			t.Errorf("%d ports with a draw of basis %q, want 3", bases[b], b)
		}
	}
	for _, s := range snap.Supplies {
		if s.Switch == "quay-switch" && (*s.Used-sum[s.Switch]).Watts() > 0.51 {
			t.Errorf("%s says %s, its ports %s", s.Switch, s.Used, sum[s.Switch])
		}
	}
}

// After the drift the findings are exactly those that were to be expected; a third
// of the story, before and after each step.
func TestDrift(t *testing.T) {
	t.Parallel()
	v := start(t)
	v.run(t)
	if err := v.Lose(); err != nil {
		t.Fatal(err)
	}
	_, found := v.run(t)
	for _, f := range found {
		if f.Kind == diff.MissingDevice {
			t.Errorf("%s after one run", f.Key)
		}
	}
	if err := v.Drift(); err != nil {
		t.Fatal(err)
	}
	_, found = v.run(t)
	if got, want := keys(found), expected(); !slices.Equal(got, want) {
		t.Errorf("findings\n got %v\nwant %v", got, want)
	}
	for key, behind := range map[string][]string{"missing-device/loft-switch": {"davit-cam", "loft-cam"}, "restarted/shed-switch": {"berth-ap", "shed-ap", "shed-cam"}} {
		i := slices.IndexFunc(found, func(f diff.Finding) bool { return f.Key == key })
		if i < 0 || !slices.Equal(found[i].Behind, behind) {
			t.Errorf("%s does not have %v behind it", key, behind)
		}
	}
	// Nothing stays but what lasts.
	if err := v.Drift(); err != nil {
		t.Fatal(err)
	}
	_, found = v.run(t)
	if got, want := keys(found), expected("restarted/shed-switch"); !slices.Equal(got, want) {
		t.Errorf("a run later\n got %v\nwant %v", got, want)
	}
}

// What was lost is missing after two runs, and back in the first run after it is found.
func TestLoseAndFind(t *testing.T) {
	t.Parallel()
	v := start(t)
	v.run(t)
	if err := v.Lose(); err != nil {
		t.Fatal(err)
	}
	v.run(t)
	missing := func() (names []string) {
		_, found := v.run(t)
		for _, f := range found {
			if f.Kind == diff.MissingDevice {
				names = append(names, f.Subject)
			}
		}
		slices.Sort(names)
		return names
	}
	if got, want := missing(), []string{"loft-switch", "office-ap"}; !slices.Equal(got, want) {
		t.Errorf("missing %v, want %v", got, want)
	}
	if err := v.Find(); err != nil {
		t.Fatal(err)
	}
	if got := missing(); got != nil {
		t.Errorf("found again, and missing: %v", got)
	}
}

// The agents answer to their own accounts alone, one to "public" as well, and
// none of them off this machine.
func TestAccounts(t *testing.T) {
	t.Parallel()
	v := start(t)
	opts := snmp.Options{Timeout: 400 * time.Millisecond, Retries: -1}
	var open []string
	for _, d := range v.plan.Devices {
		if d.Access == "" {
			continue
		}
		if !d.Agent.Addr().IsLoopback() {
			t.Errorf("%s: its agent is at %s", d.Name, d.Agent)
		}
		if c, err := snmp.Dial(t.Context(), d.Agent, snmp.Credentials{Version: "2c", Community: "public"}, opts); err == nil {
			c.Close()
			open = append(open, d.Name)
		}
	}
	var want []string
	for _, k := range ternquay.Expected() {
		if name, ok := strings.CutPrefix(k, logins); ok {
			want = append(want, name)
		}
	}
	if !slices.Equal(open, want) || len(want) != 1 {
		t.Errorf("%v answer to public, want %v", open, want)
	}
	if n := v.plan.Sources; n.Echo || n.Clocks || n.Reach || n.ReverseDNS || n.MDNS || n.WSDiscovery || n.DHCPProbe {
		t.Errorf("the plan has sources that send to the devices' own addresses: %+v", n)
	}
	for _, d := range v.plan.Devices {
		if d.FactoryLogin != nil {
			t.Errorf("%s has a factory account that would be tried at its own address", d.Name)
		}
	}
}

func TestWriteSecrets(t *testing.T) {
	dir := t.TempDir()
	if err := ternquay.WriteSecrets(dir); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(dir)
	if err != nil || len(files) != 3 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, f := range files {
		info, err := f.Info()
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %v, %v", f.Name(), info.Mode(), err)
		}
	}
	if err := ternquay.WriteSecrets(dir + "/none"); err == nil {
		t.Error("no error where it cannot write")
	}
}

// A site that ends with its context needs only Close to be gone, and its sockets
// are free then.
func TestEnd(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	s, err := ternquay.Start(ctx)
	if err != nil {
		t.Fatal(err)
	}
	f, err := planfile.Parse("plan.yaml", s.PlanYAML())
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	d, ok := f.Plan.Device("shed-switch")
	if !ok {
		t.Fatal("no shed-switch")
	}
	c, err := snmp.Dial(t.Context(), d.Agent, snmp.Credentials{Version: "2c", Community: "public"}, snmp.Options{Timeout: 20 * time.Millisecond, Retries: -1})
	if err == nil {
		c.Close()
		t.Error("it still answers")
	}
}

// BenchmarkVisit starts the site and reads all of it once.
func BenchmarkVisit(b *testing.B) {
	for b.Loop() {
		s, err := ternquay.Start(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		f, err := planfile.Parse("plan.yaml", s.PlanYAML())
		if err != nil {
			b.Fatal(err)
		}
		dir := b.TempDir()
		if err := ternquay.WriteSecrets(dir); err != nil {
			b.Fatal(err)
		}
		ev := discover.Survey(b.Context(), f.Plan, discover.Options{Secrets: func(r inventory.SecretRef) (string, error) {
			v, err := planfile.Resolve(r, dir)
			return string(v), err
		}})
		if len(ev.Agents) != 13 {
			b.Fatalf("%d agents", len(ev.Agents))
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
