package store_test

import (
	"net/netip"
	"slices"
	"testing"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"
)

func TestHistoryOfNothing(t *testing.T) {
	h := history(t, open(t), noon)
	if h.Previous != nil || len(h.Runs) != 0 || len(h.Open) != 0 {
		t.Errorf("an empty logbook has %+v", h)
	}
}

// The snapshot comes back as it was, and only the latest ones are kept whole.
func TestSnapshotRoundTrip(t *testing.T) {
	path := t.TempDir() + "/logbook.db"
	l := openAt(t, path)
	for i := range 6 {
		save(t, l, quay(), look(noon.Add(time.Duration(i)*time.Hour)))
	}
	s, id, err := l.Snapshot(t.Context())
	if err != nil || id != 6 || !s.Finished.Equal(noon.Add(5*time.Hour)) {
		t.Fatalf("the last is of run %d: %+v, %v", id, s, err)
	}
	cam, _ := s.Device("slip-cam")
	port, _ := s.Port(inventory.PortRef{Device: "quay-switch", Port: "5"})
	if cam.MACs[0] != mac(0x31) || cam.Place.Basis != inventory.ByFDB || *port.Power.Draw != 5100 || *port.Up != true || *port.Counters.In != 1000 ||
		port.Counters.Out != nil {
		t.Errorf("it came back as %+v, %+v", cam, port)
	}
	if n := one[int](t, raw(t, path), "SELECT count(*) FROM snapshots"); n != 3 {
		t.Errorf("%d whole snapshots are kept, want 3", n)
	}
	h := history(t, l, noon)
	if len(h.Runs) != 6 || h.Runs[0].ID != 6 || h.Runs[5].ID != 1 {
		t.Errorf("runs, newest first: %+v", h.Runs)
	}
}

func TestHistoryOfPresence(t *testing.T) {
	l := open(t)
	run := func(n int, presence inventory.Presence, settling bool) *inventory.History {
		s := look(noon.Add(time.Duration(n) * time.Hour))
		s.Devices[1].Presence, s.Devices[1].Place = presence, inventory.Place{}
		if _, err := trySave(l, quay(), s, settling); err != nil {
			t.Fatal(err)
		}
		return history(t, l, s.Finished)
	}
	hour := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Hour) }
	h := run(0, inventory.Absent, false)
	if _, ever := h.Last["slip-cam"]; ever || h.Absences["slip-cam"] != (inventory.Absence{Since: noon, Runs: 1}) {
		t.Errorf("never seen: last %v, absence %+v", h.Last["slip-cam"], h.Absences["slip-cam"])
	}
	h = run(1, inventory.Present, false)
	if _, gone := h.Absences["slip-cam"]; gone || !h.Last["slip-cam"].Equal(hour(1)) || !h.First["slip-cam"].Equal(noon) {
		t.Errorf("present: %+v, last %v", h.Absences, h.Last)
	}
	run(2, inventory.Absent, false)
	run(3, inventory.NotLooked, false) // neither breaks nor lengthens the row
	h = run(4, inventory.Absent, true) // nor does a settling run
	if h.Absences["slip-cam"] != (inventory.Absence{Since: hour(2), Runs: 1}) || !h.Runs[0].Settling || h.Runs[1].Settling {
		t.Errorf("absence is %+v, runs %+v", h.Absences["slip-cam"], h.Runs)
	}
	h = run(5, inventory.Absent, false)
	if h.Absences["slip-cam"] != (inventory.Absence{Since: hour(2), Runs: 2}) || !h.Last["slip-cam"].Equal(hour(1)) {
		t.Errorf("absence is %+v, last %v", h.Absences["slip-cam"], h.Last["slip-cam"])
	}
}

// The last firm place counts; what is only remembered or inferred is not stored again.
func TestHistoryOfPlaces(t *testing.T) {
	l := open(t)
	for i, place := range []inventory.Place{
		{Switch: "quay-switch", Port: "5", Basis: inventory.ByFDB},
		{Switch: "quay-switch", Port: "6", Basis: inventory.ByLLDP},
		{Switch: "quay-switch", Port: "5", Basis: inventory.Remembered},
		{Switch: "quay-switch", Port: "7", Basis: inventory.Inferred},
		{},
	} {
		s := look(noon.Add(time.Duration(i) * time.Hour))
		s.Devices[1].Place = place
		save(t, l, quay(), s)
	}
	want := inventory.Place{Switch: "quay-switch", Port: "6", Basis: inventory.ByLLDP, Seen: noon.Add(time.Hour)}
	if got := history(t, l, noon).Places[mac(0x31)]; got != want {
		t.Errorf("place is %+v, want %+v", got, want)
	}
	d, ok, err := l.Device(t.Context(), "slip-cam", []inventory.MAC{mac(0x31)})
	if err != nil || !ok || len(d.Places) != 2 || d.Places[0] != want || len(d.Addresses) != 1 || d.Addresses[0].Addr != "203.0.113.131" ||
		d.Addresses[0].MAC != mac(0x31) {
		t.Errorf("device is %+v, %v, %v", d, ok, err)
	}
	if _, ok, err := l.Device(t.Context(), "no-cam", nil); ok || err != nil {
		t.Errorf("an unknown name gives %v, %v", ok, err)
	}
}

// FC-17: who had an address is kept whenever that changed, newest first.
func TestHistoryOfClaims(t *testing.T) {
	l := open(t)
	for i, n := range []byte{0x31, 0x31, 0x32, 0x31} {
		s := look(noon.Add(time.Duration(i) * time.Hour))
		s.Devices[1].MACs = []inventory.MAC{mac(n)}
		save(t, l, quay(), s)
	}
	got := history(t, l, noon).Flips["203.0.113.131"]
	want := []inventory.Claim{{At: noon.Add(3 * time.Hour), MAC: mac(0x31)}, {At: noon.Add(2 * time.Hour), MAC: mac(0x32)}, {At: noon, MAC: mac(0x31)}}
	if !slices.Equal(got, want) {
		t.Errorf("claims are %+v, want %+v", got, want)
	}
}

// FC-01: the day's highest draw stays with its minute, from runs and pulses, by
// the site's calendar; and whether the night was seen.
func TestHistoryOfPeaks(t *testing.T) {
	l := open(t)
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	pl := quay()
	pl.Site.Location = dublin
	port := inventory.PortRef{Device: "quay-switch", Port: "5"}
	supply := inventory.SupplyRef{Switch: "quay-switch", Supply: "1"}
	// In summer, when the site's midnight is 23:00 UTC.
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 7, day, hour, minute, 0, 0, dublin) }
	run := func(when time.Time, draw inventory.Power, basis inventory.Basis) {
		s := look(when)
		s.Ports[0].Power.Draw, s.Ports[0].Power.DrawBasis = &draw, basis
		s.Supplies[0].Used = p(4 * draw)
		save(t, l, pl, s)
	}
	pulse := func(when time.Time, draw inventory.Power) {
		t.Helper()
		if err := l.SavePulse(t.Context(), pl, store.PulseSample{At: when, Ports: []store.PortDraw{{Port: port, Draw: draw}},
			Supplies: []store.SupplyDraw{{Supply: supply, Draw: 4 * draw}}}); err != nil {
			t.Fatal(err)
		}
	}
	run(at(1, 14, 0), 5100, inventory.Measured)
	pulse(at(1, 20, 59), 9000)
	run(at(1, 20, 0), 12900, inventory.Negotiated) // no measurement: no peak of a port
	pulse(at(2, 0, 30), 12600)
	run(at(2, 2, 0), 12600, inventory.Measured) // not higher: the first minute stays
	run(at(2, 8, 0), 5000, inventory.Measured)

	h, err := l.History(t.Context(), at(2, 9, 0), dublin)
	if err != nil {
		t.Fatal(err)
	}
	want := []inventory.Peak{
		{Day: at(1, 0, 0), At: at(1, 20, 59), Draw: 9000, Basis: inventory.Measured},
		{Day: at(2, 0, 0), At: at(2, 0, 30), Draw: 12600, Basis: inventory.Measured, Night: true},
	}
	check := func(what string, got []inventory.Peak, times inventory.Power, want []inventory.Peak) {
		if len(got) != len(want) {
			t.Fatalf("%s: %+v", what, got)
		}
		for i, k := range got {
			w := want[i]
			if !k.Day.Equal(w.Day) || !k.At.Equal(w.At) || k.Draw != times*w.Draw || k.Basis != w.Basis || k.Night != w.Night {
				t.Errorf("%s, day %d: %+v, want %d times %+v", what, i, k, times, w)
			}
		}
	}
	check("port", h.Peaks[port], 1, want)
	want[0].At, want[0].Draw = at(1, 20, 0), 12900
	check("supply", h.Supplies[supply], 4, want)
	if h, _ := l.History(t.Context(), at(2, 9, 0).AddDate(0, 0, 101), dublin); len(h.Peaks) != 0 {
		t.Errorf("after 101 days the peaks are still %+v", h.Peaks)
	}
}

// FC-25: a radio's level is the median of its day.
func TestHistoryOfLevels(t *testing.T) {
	l := open(t)
	day := func(n int) time.Time { return time.Date(2026, 7, n, 0, 0, 0, 0, time.UTC) }
	for d, levels := range map[int][]float64{1: {-61, -90, -62}, 2: {-64, -63, -62, -61}, 3: {-70}} {
		for i, dbm := range levels {
			s := look(day(d).Add(time.Duration(i) * time.Hour))
			s.Radios = []inventory.RadioState{{Device: "quay-radio", Level: p(dbm)}, {Device: "pontoon-radio"}}
			save(t, l, quay(), s)
		}
	}
	h := history(t, l, day(4))
	want := []inventory.Level{{Day: day(1), DBm: -62}, {Day: day(2), DBm: -63}, {Day: day(3), DBm: -70}}
	if got := h.Levels["quay-radio"]; !slices.Equal(got, want) || len(h.Levels) != 1 {
		t.Errorf("levels are %+v, want %+v", h.Levels, want)
	}
}

// Counters come back as the last run's and the oldest of the week's, also where
// they use all of 64 bits.
func TestHistoryOfCounters(t *testing.T) {
	l := open(t)
	port := inventory.PortRef{Device: "quay-switch", Port: "5"}
	const most = uint64(1<<64 - 1)
	for i, in := range []uint64{1, 2, most - 1, most} {
		s := look(noon.AddDate(0, 0, 3*i)) // days 0, 3, 6, 9
		s.Ports[0].Counters.In, s.Ports[0].Counters.InErrors = &in, p(uint64(i))
		s.Ports[0].Power.Denied = p(uint32(10 * i))
		s.Ports[0].Speed = []inventory.BitRate{1e8, 1e9, 1e7, 0}[i]
		save(t, l, quay(), s)
	}
	h := history(t, l, noon.AddDate(0, 0, 9).Add(time.Hour))
	c := h.Counters[port]
	if *c.Last.Counters.In != most || *c.Last.Power.Denied != 30 {
		t.Errorf("last: %+v", c.Last)
	}
	if w := c.Week; *w.Counters.In != 2 || *w.Counters.InErrors != 1 || *w.Power.Denied != 10 || w.Counters.Out != nil || w.Power.Short != nil ||
		!w.Counters.Read.Equal(noon.AddDate(0, 0, 3)) || w.Port != "5" {
		t.Errorf("week: %+v, %+v", w.Counters, w.Power)
	}
	if got := h.Speeds[port]; got != 1e9 {
		t.Errorf("fastest: %v, want 1 Gbit/s", got)
	}
}

// FC-10: readings of the uptime come back newest first, ticks beyond 31 bits included.
func TestHistoryOfUptimes(t *testing.T) {
	l := open(t)
	for i := range 7 {
		s := look(noon.Add(time.Duration(i) * time.Hour))
		s.Devices[0].UpTime = &inventory.UpTime{Ticks: 4294900000 + uint32(i), Boots: p(uint32(3)), Read: s.Finished}
		s.Devices[0].Firmware = []string{"1.4", "", "", "", "", "", ""}[i]
		save(t, l, quay(), s)
	}
	h := history(t, l, noon)
	u := h.Uptimes["quay-switch"]
	if len(u) != 5 || u[0].Ticks != 4294900006 || u[4].Ticks != 4294900002 || *u[0].Boots != 3 || u[0].Engine != nil || !u[0].Read.Equal(noon.Add(6*time.Hour)) {
		t.Errorf("uptimes: %+v", u)
	}
	if h.Firmware["quay-switch"] != "1.4" { // silence does not forget it
		t.Errorf("firmware: %q", h.Firmware)
	}
}

func TestHistoryOfTheRest(t *testing.T) {
	l := open(t)
	ctx := t.Context()
	s := look(noon.AddDate(0, 0, -7))
	s.Networks[0].Private, s.Networks[1].Counted = 3, 4
	s.Agents[0].Reduced = 4
	save(t, l, quay(), s)
	save(t, l, quay(), look(noon.AddDate(0, 0, -7).Add(time.Hour))) // fewer at this hour: the day's most counts
	pulse := func(at time.Time, up bool) {
		if err := l.SavePulse(ctx, quay(), store.PulseSample{At: at, Up: map[string]bool{"slip-cam": up}}); err != nil {
			t.Fatal(err)
		}
	}
	pulse(noon.Add(-2*time.Minute), true)
	pulse(noon.Add(-time.Minute), false)
	for range 2 { // a second word of the same outage opens no other
		if err := l.Outage(ctx, "internet", noon.Add(-time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	o, was, err := l.OutageOver(ctx, "internet", noon)
	if err != nil || !was || !o.From.Equal(noon.Add(-time.Hour)) || !o.To.Equal(noon) {
		t.Errorf("the outage was %+v, %v, %v", o, was, err)
	}
	if _, was, err := l.OutageOver(ctx, "internet", noon); was || err != nil {
		t.Errorf("an outage ended twice: %v, %v", was, err)
	}
	if err := l.Outage(ctx, "power", noon); err != nil {
		t.Fatal(err)
	}
	h := history(t, l, noon)
	if h.Private["yard"] != 3 || h.Private["cameras"] != 4 {
		t.Errorf("a week ago: %v", h.Private)
	}
	if got := h.Pulse["slip-cam"]; got != (inventory.PulsePresence{At: noon.Add(-time.Minute), Looked: true}) {
		t.Errorf("pulse: %+v", got)
	}
	if len(h.Outages) != 2 || h.Outages[0].What != "internet" || !h.Outages[1].To.IsZero() {
		t.Errorf("outages: %+v", h.Outages)
	}
	if reps, err := l.Repetitions(ctx); reps["quay-switch"] != 4 || err != nil {
		t.Errorf("repetitions: %v, %v", reps, err)
	}
	if v, err := l.Fact(ctx, "seen"); v != "" || err != nil {
		t.Errorf("a fact that is not there: %q, %v", v, err)
	}
	if err := l.SetFact(ctx, "seen", "1"); err != nil {
		t.Fatal(err)
	}
	if v, err := l.Fact(ctx, "seen"); v != "1" || err != nil {
		t.Errorf("the fact: %q, %v", v, err)
	}
}

// What is written on one page of a damaged file is an error, not a panic and
// not a guess.
func TestDamagedSnapshot(t *testing.T) {
	path := t.TempDir() + "/logbook.db"
	l := openAt(t, path)
	save(t, l, quay(), look(noon))
	for _, body := range [][]byte{nil, {0}, []byte("\x1f\x8b\x08garbage"), make([]byte, 1000)} {
		if _, err := raw(t, path).Exec("UPDATE snapshots SET body = ?", append([]byte{}, body...)); err != nil {
			t.Fatal(err)
		}
		if _, _, err := l.Snapshot(t.Context()); err == nil {
			t.Errorf("a snapshot of %d bytes of nothing was taken", len(body))
		}
		if _, err := l.History(t.Context(), noon, nil); err == nil {
			t.Errorf("history went over a damaged snapshot")
		}
	}
	if _, err := raw(t, path).Exec("UPDATE places SET mac = 'no mac'"); err != nil {
		t.Fatal(err)
	}
	if _, err := l.History(t.Context(), noon, nil); err == nil {
		t.Error("a place of no MAC was taken")
	}
}

// A pair of addresses is one device's only while it has them.
func TestAddresses(t *testing.T) {
	l := open(t)
	save(t, l, quay(), look(noon))
	s := look(noon.Add(time.Hour))
	s.Devices[1].Addrs = append(s.Devices[1].Addrs, netip.MustParseAddr("2001:db8::31"))
	save(t, l, quay(), s)
	d, _, err := l.Device(t.Context(), "slip-cam", nil)
	if err != nil || len(d.Addresses) != 2 {
		t.Fatalf("%+v, %v", d, err)
	}
	for _, a := range d.Addresses {
		if a.Addr == "203.0.113.131" && (!a.First.Equal(noon) || !a.Last.Equal(noon.Add(time.Hour))) {
			t.Errorf("the first address: %+v", a)
		}
	}
	all, err := l.Devices(t.Context())
	if err != nil || len(all) != 2 || !all["slip-cam"].Planned || !all["slip-cam"].Last.Equal(noon.Add(time.Hour)) {
		t.Errorf("devices: %+v, %v", all, err)
	}
}
