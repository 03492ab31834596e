package post_test

import (
	"context"
	"net/netip"
	"path/filepath"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

var dublin = func() *time.Location {
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		panic(err)
	}
	return loc
}()

// monday is when the digest is due.
var monday = time.Date(2026, 11, 23, 8, 0, 0, 0, dublin)

// quay is a plan with two readers, one of them short.
func quay() *inventory.Plan {
	p := &inventory.Plan{
		Site:     inventory.Site{Name: "Tern Quay", Location: dublin},
		Networks: []inventory.Network{{Name: "yard", Subnet: netip.MustParsePrefix("203.0.113.0/25"), Unknown: inventory.UnknownWarning}},
		Devices: []inventory.Device{
			{Name: "quay-switch", Role: inventory.Switch, Access: "core"},
			{Name: "slip-cam", Role: inventory.Camera, At: inventory.PortRef{Device: "quay-switch", Port: "5"}},
			{Name: "quay-radio", Role: inventory.Radio, At: inventory.PortRef{Device: "quay-switch", Port: "8"}},
			{Name: "pontoon-radio", Role: inventory.Radio},
		},
		Links: []inventory.RadioLink{{Name: "basin", Between: [2]string{"quay-radio", "pontoon-radio"}, Needs: 60e6}},
		Near:  inventory.Near{PortShare: 0.9, SupplyShare: 0.8},
		Service: inventory.Service{Mail: inventory.Mail{From: "boundwalk@example.net", Server: "127.0.0.1:25", Security: "plain",
			To: []inventory.Recipient{{Address: "owner@example.net"}, {Address: "boss@example.net", Short: true}}}},
	}
	p.Index()
	return p
}

func open(t testing.TB) *store.Logbook {
	t.Helper()
	l, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// look is a run's snapshot in which all is there.
func look(at time.Time) *inventory.Snapshot {
	s := &inventory.Snapshot{Started: at.Add(-20 * time.Second), Finished: at,
		Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}},
		Supplies: []inventory.SupplyState{{Switch: "quay-switch", Supply: "1", Budget: new(inventory.Power(130000)), Used: new(inventory.Power(24000))}}}
	for _, name := range []string{"quay-switch", "slip-cam", "quay-radio", "pontoon-radio"} {
		s.Devices = append(s.Devices, inventory.SeenDevice{Name: name, Planned: true, Presence: inventory.Present})
	}
	grant, octets := inventory.Power(15400), uint64(at.Unix()*1e6/8)
	s.Ports = []inventory.PortState{
		{Switch: "quay-switch", Port: "5", Planned: []string{"slip-cam"}, Power: &inventory.PortPower{State: inventory.PSEDelivering,
			Draw: new(inventory.Power(5100)), DrawBasis: inventory.Measured, Grant: &grant}},
		{Switch: "quay-switch", Port: "8", Speed: 1e9, Counters: inventory.PortCounters{In: &octets, Out: &octets}}}
	return s
}

// save stores a run with these findings.
func save(t testing.TB, l *store.Logbook, at time.Time, fs ...diff.Finding) {
	t.Helper()
	ctx := context.Background()
	id, err := l.Begin(ctx, "schedule", at.Add(-20*time.Second))
	if err != nil {
		t.Fatal(err)
	}
	s := look(at)
	for _, f := range fs {
		for i := range s.Devices {
			if f.Kind == diff.MissingDevice && s.Devices[i].Name == f.Subject {
				s.Devices[i].Presence = inventory.Absent
			}
		}
	}
	if _, err := l.Save(ctx, id, quay(), s, fs, false); err != nil {
		t.Fatal(err)
	}
}
