package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"net/netip"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// noon is when the tests' first run ends.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func p[T any](v T) *T { return &v }

func mac(n byte) inventory.MAC { return inventory.MAC{0x00, 0x00, 0x5e, 0x00, 0x53, n} }

// quay is a plan with one swept network and one far away.
func quay() *inventory.Plan {
	pl := &inventory.Plan{
		Site: inventory.Site{Name: "Tern Quay", Location: time.UTC},
		Networks: []inventory.Network{
			{Name: "yard", Subnet: netip.MustParsePrefix("203.0.113.0/25"), Unknown: inventory.UnknownWarning},
			{Name: "cameras", Subnet: netip.MustParsePrefix("203.0.113.128/26"), Unknown: inventory.UnknownUrgent},
		},
		Devices: []inventory.Device{
			{Name: "quay-switch", Role: inventory.Switch, MACs: []inventory.MAC{mac(2)}, Access: "core"},
			{Name: "slip-cam", Role: inventory.Camera, MACs: []inventory.MAC{mac(0x31)}},
		},
	}
	pl.Index()
	return pl
}

// look is a snapshot in which all was looked at and all is well.
func look(at time.Time) *inventory.Snapshot {
	return &inventory.Snapshot{
		Started: at.Add(-20 * time.Second), Finished: at,
		Coverage: inventory.CoverageList{
			{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete},
			{Subject: "quay-switch", Source: inventory.SourceSNMP, Result: inventory.Complete},
		},
		Networks: []inventory.NetworkState{
			{Name: "yard", Looked: inventory.Complete, How: inventory.SourceARP},
			{Name: "cameras", Looked: inventory.Complete, How: inventory.SourceARP},
		},
		Devices: []inventory.SeenDevice{
			{Name: "quay-switch", Planned: true, Role: inventory.Switch, MACs: []inventory.MAC{mac(2)},
				Addrs: []netip.Addr{netip.MustParseAddr("203.0.113.2")}, Presence: inventory.Present},
			{Name: "slip-cam", Planned: true, Role: inventory.Camera, MACs: []inventory.MAC{mac(0x31)}, Addrs: []netip.Addr{netip.MustParseAddr("203.0.113.131")},
				Presence: inventory.Present, Place: inventory.Place{Switch: "quay-switch", Port: "5", Basis: inventory.ByFDB, Seen: at}},
		},
		Ports: []inventory.PortState{{Switch: "quay-switch", Port: "5", Interface: "gi5", Up: p(true), Speed: 1e9,
			Power:    &inventory.PortPower{State: inventory.PSEDelivering, Draw: p(inventory.Power(5100)), DrawBasis: inventory.Measured},
			Counters: inventory.PortCounters{Read: at, In: p(uint64(1000))}}},
		Supplies: []inventory.SupplyState{{Switch: "quay-switch", Supply: "1", Budget: p(inventory.Power(130000)), Used: p(inventory.Power(20000))}},
		Agents: []inventory.AgentState{{Device: "quay-switch", Result: inventory.Complete, Tables: map[string]inventory.Result{
			inventory.TableFDB: inventory.Complete, inventory.TablePSE: inventory.Complete, inventory.TableInterfaces: inventory.Complete,
			inventory.TableVLAN: inventory.NotOffered}}},
	}
}

func open(t testing.TB) *store.Logbook {
	t.Helper()
	return openAt(t, filepath.Join(t.TempDir(), "logbook.db"))
}

func openAt(t testing.TB, path string) *store.Logbook {
	t.Helper()
	l, err := store.Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// save stores one whole run.
func save(t testing.TB, l *store.Logbook, pl *inventory.Plan, s *inventory.Snapshot, fs ...diff.Finding) store.Outcome {
	t.Helper()
	out, err := trySave(l, pl, s, false, fs...)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func trySave(l *store.Logbook, pl *inventory.Plan, s *inventory.Snapshot, settling bool, fs ...diff.Finding) (store.Outcome, error) {
	id, err := l.Begin(context.Background(), "schedule", s.Started)
	if err != nil {
		return store.Outcome{}, err
	}
	return l.Save(context.Background(), id, pl, s, fs, settling)
}

func history(t testing.TB, l *store.Logbook, now time.Time) *inventory.History {
	t.Helper()
	h, err := l.History(context.Background(), now, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// raw opens the file beside the package, to look at what it wrote.
func raw(t testing.TB, path string) *sql.DB {
	t.Helper()
	u := url.URL{Scheme: "file", OmitHost: true, Path: path, RawQuery: "_pragma=busy_timeout(10000)"}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// one reads a single value.
func one[T any](t testing.TB, db *sql.DB, q string, args ...any) T {
	t.Helper()
	var v T
	if err := db.QueryRow(q, args...).Scan(&v); err != nil {
		t.Fatalf("%s: %v", q, err)
	}
	return v
}

// childVar tells a test that it runs as a child process, and on what.
const childVar = "BOUNDWALK_STORE_CHILD"

// child prepares the running test program to do a test as another process, to
// which childVar says on which file.
func child(t testing.TB, test, on string) *exec.Cmd {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "/proc/self/exe", "-test.run=^"+test+"$", "-test.count=1", "-test.v")
	cmd.Env = append(os.Environ(), childVar+"="+on)
	return cmd
}

// need skips where something is missing that CI must have.
func need(t testing.TB, ok bool, what string) {
	t.Helper()
	switch {
	case ok:
	case os.Getenv("CI") == "true":
		t.Fatal("needs " + what)
	default:
		t.Skip("needs " + what)
	}
}

func finding(k diff.Kind, subject string) diff.Finding {
	f := diff.New(k, subject)
	f.Observed = fmt.Sprintf("as the test says of %s", subject)
	return f
}
