package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/cmd/internal/commission"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/store"
)

// commissionSite is loginSite with an agent on the camera, so that it is seen to
// be there.
func commissionSite(t *testing.T, cam *fakeCamera, policy string) (dir string) {
	t.Helper()
	ag, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"quaypass"}, Engine: "\x80\x00\x7e\xd9\x04slip!",
		Rows: []simnet.Row{{OID: "1.3.6.1.2.1.1.3.0", Value: simnet.TimeTicks(4242)}}})
	if err != nil {
		t.Fatal(err)
	}
	dir = loginSite(t, cam, policy, "")
	plan := filepath.Join(dir, "plan.yaml")
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("role: camera, "), fmt.Appendf(nil, "role: camera, access: yard, agent: %q, ", simnettest.Start(t, ag)), 1)
	if err := os.WriteFile(plan, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// proved commissions slip-cam, and gives its record and all that was said.
func proved(t *testing.T, dir string, code int, args ...string) (commission.Record, string) {
	t.Helper()
	var out, told bytes.Buffer
	got := run(t.Context(), append([]string{"commission", "slip-cam", "--json", "--every", "10ms", "--settle", "10ms", "--plan",
		filepath.Join(dir, "plan.yaml")}, args...),
		strings.NewReader(""), &out, &told)
	var rs []commission.Record
	if err := json.Unmarshal(out.Bytes(), &rs); err != nil || len(rs) != 1 || got != code {
		t.Fatalf("exit %d, want %d: %v\n%s\n%s", got, code, err, out.String(), told.String())
	}
	return rs[0], out.String() + told.String()
}

func stepOf(r commission.Record, what string) commission.Step {
	for _, s := range r.Steps {
		if s.What == what {
			return s
		}
	}
	return commission.Step{}
}

// FC-24 at the foot of the ladder: a commission tries a factory account once,
// where the plan allows it, and what the logbook counts holds for runs too.
func TestFC24Commission(t *testing.T) {
	for _, c := range []struct {
		policy, takes string
		exit, tries   int
		state         commission.State
		found         string
	}{
		{"on-request", factoryPassword, exitFindings, 1, commission.Fail, "still accepted over http, checked "},
		{"on-request", "changed", exitDone, 1, commission.Pass, "refused over http, checked "},
		{"after-change", "changed", exitDone, 1, commission.Pass, "refused over http, checked "},
		{"off", factoryPassword, exitDone, 0, commission.Unknown, "not checked: factory_logins is off"},
	} {
		t.Run(c.policy+" "+string(c.state), func(t *testing.T) {
			cam := &fakeCamera{takes: c.takes}
			dir := commissionSite(t, cam, c.policy)
			for range 2 { // the second one keeps what the first found
				r, _ := proved(t, dir, c.exit)
				if s := stepOf(r, "factory login"); s.State != c.state || !strings.HasPrefix(s.Found, c.found) {
					t.Errorf("%+v", s)
				}
			}
			if c.policy != "off" {
				program(t, dir, "run", "--logins")
			}
			noted := 0
			for _, y := range loginTries(t, dir) {
				if y.Over == "http" { // beside it the run asks by the usual community
					noted++
				}
			}
			if cam.counted() != c.tries || noted != c.tries {
				t.Errorf("the camera counted %d logins, the logbook %d, want %d", cam.counted(), noted, c.tries)
			}
		})
	}
}

// A run's refusal an hour ago is told with its time, and not repeated.
func TestCommissionAfterRun(t *testing.T) {
	cam := &fakeCamera{takes: "changed"}
	dir := commissionSite(t, cam, "on-request")
	program(t, dir, "run", "--logins")
	r, _ := proved(t, dir, exitDone)
	if s := stepOf(r, "factory login"); s.State != commission.Pass || cam.counted() != 1 {
		t.Errorf("%d logins, %+v", cam.counted(), s)
	}
}

// The record is kept with a run, is shown again without a look, and the device's
// page knows of it. Nothing that is kept or said holds a secret.
func TestCommissionIsKept(t *testing.T) {
	cam := &fakeCamera{takes: factoryPassword}
	dir := commissionSite(t, cam, "on-request")
	page := filepath.Join(t.TempDir(), "record.html")
	r, said := proved(t, dir, exitFindings, "--out", page)
	if r.Run == nil || *r.Run != 1 || r.Unkept != "" || r.Plan != "plan.yaml" {
		t.Errorf("run %v, %q, by %q", r.Run, r.Unkept, r.Plan)
	}
	last, again := proved(t, dir, exitDone, "--last")
	if fmt.Sprint(last.Steps) != fmt.Sprint(r.Steps) || !last.At.Equal(r.At) || *last.Run != 1 {
		t.Errorf("kept %+v\nmade %+v", last, r)
	}
	if runs := program(t, dir, "show", "runs"); !strings.Contains(runs, "commission") {
		t.Errorf("the run is not listed:\n%s", runs)
	}
	device := program(t, dir, "show", "device", "slip-cam")
	if !strings.Contains(device, "present") && !strings.Contains(device, "slip-cam") {
		t.Errorf("the device is not known:\n%s", device)
	}
	if keys := runKeys(t, "--plan", filepath.Join(dir, "plan.yaml")); !strings.Contains(strings.Join(keys, " "), "factory-login/slip-cam") {
		t.Errorf("the next run does not tell of it: %v", keys)
	}
	texts := map[string]string{"said": said + again + device, "snapshot": snapshotText(t, dir)}
	for _, root := range []string{dir, filepath.Dir(page)} {
		if err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || e.Name() == "plan.yaml" || e.Name() == "yard.community" {
				return err
			}
			text, err := os.ReadFile(path)
			texts[path] = string(text)
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	for where, text := range texts {
		if strings.Contains(text, factoryPassword) || strings.Contains(text, "quaypass") {
			t.Errorf("%s holds a secret", where)
		}
	}
	if cam.counted() != 1 {
		t.Errorf("%d logins", cam.counted())
	}
}

// Without a logbook to count it in, no try is made, and the record says why it is
// not kept.
func TestCommissionWithoutLogbook(t *testing.T) {
	cam := &fakeCamera{takes: factoryPassword}
	dir := commissionSite(t, cam, "on-request")
	if err := os.WriteFile(filepath.Join(dir, "logbook.db"), []byte("no database"), 0o600); err != nil {
		t.Fatal(err)
	}
	r, _ := proved(t, dir, exitDone)
	if r.Run != nil || !strings.Contains(r.Unkept, store.ErrNotLogbook.Error()) {
		t.Errorf("run %v, %q", r.Run, r.Unkept)
	}
	if s := stepOf(r, "factory login"); s.State != commission.Unknown || !strings.Contains(s.Found, "logbook") || cam.counted() != 0 {
		t.Errorf("%d logins, %+v", cam.counted(), s)
	}
}

// --last has nothing to show where nothing was kept, and wants a name.
func TestCommissionLastOfNothing(t *testing.T) {
	dir := commissionSite(t, &fakeCamera{}, "off")
	program(t, dir, "run")
	plan := filepath.Join(dir, "plan.yaml")
	if _, told := do(t, []int{exitFailed}, "commission", "slip-cam", "--last", "--plan", plan); !strings.Contains(told, `keeps no record of "slip-cam"`) {
		t.Error(told)
	}
	do(t, []int{exitUsage}, "commission", "--last", "--plan", plan)
}
