package sheet_test

import (
	"bytes"
	"encoding/csv"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/sheet"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

var day = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func example(t *testing.T) *inventory.Plan {
	t.Helper()
	f, err := planfile.ReadFile("../../../deploy/example/plan.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return f.Plan
}

func render(t *testing.T, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	s := sheet.New(example(t), nil, day)
	for name, write := range map[string]func(io.Writer) error{"sheet.txt": s.Text, "sheet.md": s.Markdown, "sheet.html": s.HTML} {
		path, got := "testdata/"+name, render(t, write)
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
			t.Errorf("%s differs (UPDATE=1 writes it anew)", path)
		}
		if !strings.Contains(got, "onfidential") {
			t.Errorf("%s does not say that it is confidential", name)
		}
	}
}

// By hand from the plan: of 23 AWG for outdoors C05 62 m, C06 48 m, S05 40 m,
// C08 24 m, P01 6 m, P02 9 m and P03 15 m make 204 m, with a tenth more 225 m.
func TestMetresToBuy(t *testing.T) {
	text := render(t, sheet.New(example(t), nil, day).Only("cables").Text)
	for line := range strings.SplitSeq(text, "\n") {
		if strings.Contains(line, "for outdoors") {
			if got := strings.Join(strings.Fields(line), " "); got != "23 AWG copper, for outdoors 7 204 m 225 m" {
				t.Errorf("%q", got)
			}
			return
		}
	}
	t.Errorf("no line for outdoors:\n%s", text)
}

// What may not be printed is in no form of the sheet.
func TestNoSecrets(t *testing.T) {
	plan := example(t)
	for i := range plan.Devices {
		plan.Devices[i].FactoryLogin = &inventory.FactoryLogin{Over: "http", User: "factoryuser", Password: "factoryword"}
	}
	s := sheet.New(plan, nil, day)
	for _, write := range []func(io.Writer) error{s.Text, s.Markdown, s.HTML, s.CSV} {
		if got := render(t, write); strings.Contains(got, "factoryuser") || strings.Contains(got, "factoryword") || strings.Contains(got, "core.auth") {
			t.Error("a login or a secret's place is in the sheet")
		}
	}
}

// Text of devices and people can break out of no form.
func TestHostileText(t *testing.T) {
	plan := &inventory.Plan{Site: inventory.Site{Name: `<b>"Tern" | Quay`}, Devices: []inventory.Device{
		{Name: "hub", Role: inventory.Switch, Ports: 1, Room: "=cmd()|'x"},
		{Name: "cam", Room: "<script>alert(1)</script>", Product: "a|b\\c", At: inventory.PortRef{Device: "hub", Port: "1"}},
	}}
	s := sheet.New(plan, nil, day)
	if got := render(t, s.HTML); strings.Contains(got, "<script>") || strings.Contains(got, "<b>") {
		t.Errorf("HTML:\n%s", got)
	}
	if got := render(t, s.Markdown); strings.Contains(got, "<script>") || strings.Contains(got, "a|b") {
		t.Errorf("Markdown:\n%s", got)
	}
	rows, err := csv.NewReader(strings.NewReader(render(t, s.Only("cables").CSV))).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][2] != "'=cmd()|'x" {
		t.Errorf("CSV: %v %q", err, rows)
	}
}

// Each row of a table has a cell for each column, in the example and in an empty plan.
func TestCells(t *testing.T) {
	for _, plan := range []*inventory.Plan{example(t), {}} {
		for _, tab := range sheet.New(plan, &inventory.Snapshot{Devices: []inventory.SeenDevice{{Name: "x"}}}, day).Tables {
			for _, r := range tab.Rows {
				if len(r) != len(tab.Columns) {
					t.Errorf("%s: %d cells in %d columns", tab.Title, len(r), len(tab.Columns))
				}
			}
		}
	}
}

func TestAsBuilt(t *testing.T) {
	plan := example(t)
	at := func(name, port string, p inventory.Presence) inventory.SeenDevice {
		ref := inventory.ParsePortRef(port)
		return inventory.SeenDevice{Name: name, Planned: true, Presence: p, Place: inventory.Place{Switch: ref.Device, Port: ref.Port, Basis: inventory.ByFDB}}
	}
	replaced := at("hoist-cam", "", inventory.Absent)
	replaced.Claimed = []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 0x3a}}
	away := at("winter-cam", "", inventory.Absent)
	away.Away = true
	remembered := at("shed-ap", "shed-switch/7", inventory.Present)
	remembered.Place.Basis = inventory.Remembered
	snap := &inventory.Snapshot{Finished: day, Devices: []inventory.SeenDevice{
		at("slip-cam", "quay-switch/5", inventory.Present), at("gate-cam", "quay-switch/7", inventory.Present), at("office-ap", "", inventory.Absent),
		at("berth-ap", "", inventory.NotLooked), at("yard-phone", "", inventory.Absent), replaced, away, remembered,
		{Name: "00:00:5e:00:53:66", Presence: inventory.Present}}}
	want := map[string]string{"slip-cam": "yes", "gate-cam": "other port", "office-ap": "not found", "berth-ap": "not looked", "yard-phone": "not there now",
		"hoist-cam": "other MAC 00:00:5e:00:53:3a", "winter-cam": "away, as planned", "shed-ap": "yes", "00:00:5e:00:53:66": "not in the plan"}
	tabs := sheet.New(plan, snap, day).Only("as-built").Tables
	if len(tabs) != 1 || len(tabs[0].Rows) != len(want) {
		t.Fatalf("%+v", tabs)
	}
	for _, r := range tabs[0].Rows {
		if r[5] != want[r[0]] {
			t.Errorf("%s: %q, want %q", r[0], r[5], want[r[0]])
		}
	}
}
