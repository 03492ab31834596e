package digest_test

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/diff/digest"
	"boundwalk/inventory"
)

func build(t testing.TB, in digest.In) digest.Digest {
	t.Helper()
	d, err := digest.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// UPDATE=1 writes the golden files anew; read the difference.
func TestGolden(t *testing.T) {
	short := busy(t)
	short.Short = true
	first := digest.In{Plan: quiet(t).Plan, Now: monday}
	for name, in := range map[string]digest.In{"quiet": quiet(t), "busy": busy(t), "short": short, "first": first} {
		t.Run(name, func(t *testing.T) {
			d := build(t, in)
			for file, got := range map[string]string{name + ".txt": "Subject: " + d.Subject + "\n\n" + d.Text, name + ".html": d.HTML} {
				path := filepath.Join("testdata", file)
				if os.Getenv("UPDATE") != "" {
					if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
						t.Fatal(err)
					}
				}
				want, err := os.ReadFile(path)
				if err != nil {
					t.Fatal(err)
				}
				if got != string(want) {
					t.Errorf("%s differs; UPDATE=1 writes it anew:\n%s", path, got)
				}
			}
		})
	}
}

func TestSubject(t *testing.T) {
	later := quiet(t)
	later.Now, later.Since = monday.AddDate(0, 0, 3), monday
	hushed := quiet(t)
	hushed.Episodes = []digest.Episode{{Finding: diff.New(diff.MissingDevice, "slip-cam"), Hushed: true, Until: monday.AddDate(0, 0, 1)}}
	newYear := quiet(t)
	newYear.Now = time.Date(2027, 1, 1, 8, 0, 0, 0, dublin)
	newYear.Snapshot.Finished = newYear.Now
	named := quiet(t)
	named.Week = "2026-W47"
	for _, test := range []struct {
		name string
		in   digest.In
		want string
	}{
		{"nothing is wrong", quiet(t), "Tern Quay, week 48 of 2026: all as planned"},
		{"counts only", busy(t), "Tern Quay, week 48 of 2026: 3 urgent, 2 warnings"},
		{"hushed findings do not count", hushed, "Tern Quay, week 48 of 2026: all as planned"},
		{"an old run promises nothing", later, "Tern Quay, week 48 of 2026: no run since Mon 23 Nov"},
		{"no run at all", digest.In{Plan: quiet(t).Plan, Now: monday}, "Tern Quay, week 48 of 2026: nothing was looked at"},
		{"ISO year", newYear, "Tern Quay, week 53 of 2026: all as planned"},
		{"the week it was due for", named, "Tern Quay, week 47 of 2026: all as planned"},
	} {
		t.Run(test.name, func(t *testing.T) {
			if got := build(t, test.in).Subject; got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

// An old snapshot must not be taken for the present state.
func TestStale(t *testing.T) {
	in := quiet(t)
	in.Now = monday.AddDate(0, 0, 3)
	d := build(t, in)
	if strings.Contains(d.Text, "All as planned") || !strings.Contains(d.Text, "No run has come to its end for 3 days") {
		t.Error(d.Text)
	}
}

// At most twelve findings are told in full, the most pressing ones; the rest is counted.
func TestAtMostTwelve(t *testing.T) {
	in := quiet(t)
	for k := range 15 {
		in.Episodes = append(in.Episodes, digest.Episode{Finding: diff.New(diff.PowerFaults, fmt.Sprintf("quay-switch/%d", k)), Opened: monday})
		in.Episodes = append(in.Episodes, digest.Episode{Finding: diff.New(diff.MissingDevice, fmt.Sprintf("cam-%02d", k)), Opened: monday})
	}
	in.Short = true
	text := build(t, in).Text
	if n := strings.Count(text, "URGENT"); n != 12 {
		t.Errorf("%d urgent ones told, want 12", n)
	}
	if strings.Contains(text, "WARNING") || !strings.Contains(text, "18 more, 3 of them urgent") {
		t.Error(text)
	}
}

// Field case FC-23: what cuts most of the site off leads.
func TestFC23CutOffLeads(t *testing.T) {
	in := quiet(t)
	for _, f := range []diff.Finding{diff.New(diff.AddressConflict, "203.0.113.1"), diff.New(diff.CutOff, "Tern Quay"), diff.New(diff.MissingDevice, "a")} {
		in.Episodes = append(in.Episodes, digest.Episode{Finding: f, Opened: monday})
	}
	text := build(t, in).Text
	if first, next := strings.Index(text, "most of the site"), strings.Index(text, "several devices"); first < 0 || next < first {
		t.Error(text)
	}
}

// Field case FC-21: private devices on Wi-Fi are a count with last week's.
func TestFC21PrivateDevices(t *testing.T) {
	in := quiet(t)
	in.Snapshot.Networks = []inventory.NetworkState{{Name: "yard", Private: 3}}
	if text := build(t, in).Text; !strings.Contains(text, "3 private devices on Wi-Fi (3 last week)") {
		t.Error(text)
	}
}

// Field case FC-27: times are local, and say which offset where there are two.
func TestFC27ClockChange(t *testing.T) {
	in := quiet(t)
	in.Now = time.Date(2026, 10, 26, 8, 0, 0, 0, dublin) // the clock went back on the 25th
	in.Since = in.Now.AddDate(0, 0, -7)
	in.Snapshot.Finished = in.Now
	in.Episodes = []digest.Episode{
		{Finding: diff.New(diff.MissingDevice, "slip-cam"), Opened: time.Date(2026, 10, 24, 23, 30, 0, 0, time.UTC)},
		{Finding: diff.New(diff.LinkSlow, "quay-switch/8"), Opened: time.Date(2026, 10, 25, 23, 30, 0, 0, time.UTC)},
	}
	text := build(t, in).Text
	for _, want := range []string{"Mon 26 Oct 2026 08:00 +00:00", "since Sun 25 Oct 00:30 +01:00", "since Sun 25 Oct 23:30\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in it:\n%s", want, text)
		}
	}
}

// After a long pause the digest looks back to the last one.
func TestLongPause(t *testing.T) {
	in := quiet(t)
	in.Since = monday.AddDate(0, 0, -26)
	in.Episodes = []digest.Episode{{Finding: diff.New(diff.Restarted, "office-ap"), Opened: monday.AddDate(0, 0, -20)}}
	text := build(t, in).Text
	if !strings.Contains(text, "Changed since Wed 28 Oct 08:00") || !strings.Contains(text, "new:      office-ap restarted, Tue 3 Nov 08:00") {
		t.Error(text)
	}
}

func TestConfidential(t *testing.T) {
	with := func(f diff.Finding) digest.In {
		in := quiet(t)
		in.Episodes = []digest.Episode{{Finding: f, Opened: monday}}
		return in
	}
	behind := diff.New(diff.MissingDevice, "quay-radio")
	behind.Behind = []string{"slip-cam"}
	fed := diff.New(diff.NotPowered, "quay-switch/5")
	fed.Where = "quay-switch/5"
	for _, test := range []struct {
		name string
		in   digest.In
		want bool
	}{
		{"quiet", quiet(t), false},
		{"a dead camera", with(diff.New(diff.MissingDevice, "slip-cam")), true},
		{"a camera behind a dead radio", with(behind), true},
		{"a camera's port without power", with(fed), true},
		{"a door that opens", with(diff.New(diff.FactoryLogin, "office-ap")), true},
		{"a printer", with(diff.New(diff.MissingDevice, "office-printer")), false},
	} {
		t.Run(test.name, func(t *testing.T) {
			if got := build(t, test.in).Confidential; got != test.want {
				t.Errorf("got %v, want %v", got, test.want)
			}
		})
	}
}

// Two screens at most for a quiet site: 100 lines on a terminal of 50.
func TestQuietIsShort(t *testing.T) {
	if n := strings.Count(build(t, quiet(t)).Text, "\n"); n > 60 {
		t.Errorf("%d lines", n)
	}
}

func TestSameBytes(t *testing.T) {
	a, b := build(t, busy(t)), build(t, busy(t))
	if !reflect.DeepEqual(a, b) {
		t.Error("the same In gave two different digests")
	}
	in := busy(t)
	slices.Reverse(in.Episodes)
	if c := build(t, in); c.Text != a.Text {
		t.Errorf("the order of the episodes shows:\n%s\n%s", a.Text, c.Text)
	}
}

func TestPictures(t *testing.T) {
	d := build(t, quiet(t))
	if len(d.Pictures) != 2 {
		t.Fatalf("%d pictures", len(d.Pictures))
	}
	for _, p := range d.Pictures {
		img, err := png.Decode(bytes.NewReader(p.PNG))
		if err != nil {
			t.Fatal(err)
		}
		if w := img.Bounds().Dx(); w < 800 || w > 900 {
			t.Errorf("%s is %d dots wide", p.CID, w)
		}
		if !strings.Contains(d.HTML, `src="cid:`+p.CID+`"`) {
			t.Errorf("the HTML does not show %s", p.CID)
		}
		if len(p.Alt) < 40 {
			t.Errorf("%s says only %q to who cannot see it", p.CID, p.Alt)
		}
		if len(p.PNG) > 150_000 {
			t.Errorf("%s has %d bytes", p.CID, len(p.PNG))
		}
	}
	none := quiet(t)
	none.Samples = digest.Samples{}
	if d := build(t, none); len(d.Pictures) != 0 || strings.Contains(d.HTML, "<img") {
		t.Error("pictures of nothing")
	}
	flat := quiet(t)
	for k, list := range flat.Samples.Supplies {
		for i := range list {
			list[i].Draw = 0
		}
		flat.Samples.Supplies[k] = list
	}
	if d := build(t, flat); len(d.Pictures) != 2 || bytes.Equal(d.Pictures[0].PNG, build(t, quiet(t)).Pictures[0].PNG) {
		t.Error("a flat line looks like a week with lamps")
	}
}

func TestWanted(t *testing.T) {
	supplies, ports := digest.Wanted(quiet(t))
	if want := []inventory.SupplyRef{{Switch: "quay-switch", Supply: "1"}}; !slices.Equal(supplies, want) {
		t.Errorf("supplies %v, want %v", supplies, want)
	}
	q := func(port string) inventory.PortRef { return inventory.PortRef{Device: "quay-switch", Port: port} }
	if want := []inventory.PortRef{q("5"), q("6"), q("4")}; !slices.Equal(ports, want) {
		t.Errorf("ports %v, want %v, the fullest first", ports, want)
	}
}

const evil = "cam\r\nBcc: x@example.net\x00</td><script>alert(1)</script><img src=https://example.net/x.png onerror=x> \u202egpj.exe\u2028 \xbe\xd2 "

// Draws that nothing has still give a picture, or none.
func TestOddDraws(t *testing.T) {
	for _, draw := range []inventory.Power{0, -1, 1, 1 << 30, 1<<31 - 1} {
		in := quiet(t)
		s := inventory.SupplyRef{Switch: "quay-switch", Supply: "1"}
		in.Samples.Supplies[s][3].Draw, in.History.Supplies[s][20].Draw = draw, draw
		in.Snapshot.Supplies[0].Budget = new(max(draw, 1))
		seen(t, build(t, in).HTML)
	}
}

// What is missing must not stop the mail.
func TestEmpty(t *testing.T) {
	for _, in := range []digest.In{{}, {Now: monday}, {Now: monday, Snapshot: &inventory.Snapshot{}},
		{Plan: &inventory.Plan{}, Now: monday, History: &inventory.History{}}} {
		if d := build(t, in); d.Text == "" || d.HTML == "" {
			t.Error("an empty mail")
		}
	}
}

func BenchmarkBuild(b *testing.B) {
	in := busy(b)
	for b.Loop() {
		build(b, in)
	}
}
