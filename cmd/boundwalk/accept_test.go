package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boundwalk/inventory/planfile"
)

// drift lets the site differ from its plan, with the runs that it takes to tell.
func (s *yardSite) drift(t *testing.T) {
	t.Helper()
	runKeys(t, "--plan", s.plan)
	if err := s.Lose(); err != nil {
		t.Fatal(err)
	}
	runKeys(t, "--plan", s.plan)
	if err := s.Drift(); err != nil {
		t.Fatal(err)
	}
	runKeys(t, "--plan", s.plan)
}

// What was accepted is in the plan, every other line is as it was, and the next
// run finds it no more.
func TestAccept(t *testing.T) {
	s := startYard(t)
	s.drift(t)
	before, err := os.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	keys := []string{"moved-device/gate-cam", "replaced-device/hoist-cam", "unknown-device/00:00:5e:00:53:66", "wrong-vlan/shed-switch/6"}
	args := append([]string{"accept", "--plan", s.plan, "--name", "bow-cam"}, keys...)

	out, _ := do(t, []int{exitDone}, append(args, "--dry-run")...)
	for _, want := range []string{"--- plan.yaml", "+  gate-cam: ", "at: quay-switch/7", `"00:00:5e:00:53:3a"`, "+  bow-cam:", "vlan: 20"} {
		if !strings.Contains(out, want) {
			t.Errorf("the diff has no %q:\n%s", want, out)
		}
	}
	if now, err := os.ReadFile(s.plan); err != nil || string(now) != string(before) {
		t.Fatalf("--dry-run wrote the plan: %v", err)
	}

	_, told := do(t, []int{exitDone}, args...)
	if !strings.Contains(told, "give it a role") {
		t.Errorf("what is left to do is not told:\n%s", told)
	}
	if kept, err := os.ReadFile(s.plan + "~"); err != nil || string(kept) != string(before) {
		t.Errorf("the old plan was not kept: %v", err)
	}
	after, err := os.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	if n := changedLines(string(before), string(after)); n > 7 {
		t.Errorf("%d lines changed, for four findings and two spare ports", n)
	}
	f, err := planfile.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	d, ok := f.Plan.Device("bow-cam")
	if !ok || d.At.String() != "shed-switch/8" || d.Address().String() != "203.0.113.150" {
		t.Errorf("the new device: %+v", d)
	}
	do(t, []int{exitDone}, "check", "--plan", s.plan) // also since no used port is kept spare
	again, _ := do(t, []int{exitDone}, args...)
	if !strings.Contains(again, "gate-cam at quay-switch/7 already") || !strings.Contains(again, "bow-cam has the MAC address 00:00:5e:00:53:66 already") {
		t.Errorf("accepted twice: %s", again)
	}
	if kept, err := os.ReadFile(s.plan + "~"); err != nil || string(kept) != string(before) {
		t.Errorf("the old plan was lost by accepting twice: %v", err)
	}
	for _, k := range runKeys(t, "--plan", s.plan) {
		if slices.Contains(keys, k) {
			t.Errorf("accepted, and found again: %s", k)
		}
	}
	_, told = do(t, []int{exitFailed}, args...)
	if !strings.Contains(told, "no open finding") || !strings.Contains(told, "show findings") {
		t.Errorf("accepting what is gone: %s", told)
	}
}

// changedLines counts the lines of b that a does not have.
func changedLines(a, b string) int {
	n := 0
	have := strings.Split(a, "\n")
	for line := range strings.SplitSeq(b, "\n") {
		if !slices.Contains(have, line) {
			n++
		}
	}
	return n
}

func TestAcceptRefuses(t *testing.T) {
	s := startYard(t)
	s.drift(t)
	before, err := os.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	accept := func(code int, args ...string) string {
		_, told := do(t, []int{code}, append([]string{"accept", "--plan", s.plan}, args...)...)
		if now, err := os.ReadFile(s.plan); err != nil || string(now) != string(before) {
			t.Fatalf("accept %v wrote the plan: %v", args, err)
		}
		return told
	}
	for _, k := range []string{"missing-device/office-ap", "restarted/shed-switch", "clock-off/recorder", "link-slow/quay-switch/8"} {
		if told := accept(exitFailed, k); !strings.Contains(told, "nothing to accept") {
			t.Errorf("%s: %s", k, told)
		}
	}
	if told := accept(exitFailed, "moved-device/gate-cam", "moved-device/nobody"); !strings.Contains(told, "nothing was changed") {
		t.Errorf("one good and one bad key: %s", told)
	}
	accept(exitUsage, "--name", "x", "moved-device/gate-cam")
	accept(exitUsage)
	if err := os.Chmod(s.plan, 0o400); err != nil {
		t.Fatal(err)
	}
	if told := accept(exitFailed, "moved-device/gate-cam"); !strings.Contains(told, "read-only") {
		t.Errorf("a read-only plan: %s", told)
	}
}

// Of two at once each change is there or its maker was told: none is lost without a word.
func TestAcceptTwoAtOnce(t *testing.T) {
	s := startYard(t)
	s.drift(t)
	codes := make(chan int, 2)
	for _, k := range []string{"moved-device/gate-cam", "replaced-device/hoist-cam"} {
		go func() {
			codes <- run(t.Context(), []string{"accept", "--plan", s.plan, k}, strings.NewReader(""), &strings.Builder{}, &strings.Builder{})
		}()
	}
	done := 0
	for range 2 {
		if <-codes == exitDone {
			done++
		}
	}
	f, err := planfile.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	gate, _ := f.Plan.Device("gate-cam")
	hoist, _ := f.Plan.Device("hoist-cam")
	taken := 0
	if gate.At.Port == "7" {
		taken++
	}
	if hoist.MACs[0].String() == "00:00:5e:00:53:3a" {
		taken++
	}
	if done == 0 || taken != done {
		t.Errorf("%d said that they were done, %d are in the plan", done, taken)
	}
}

func TestHush(t *testing.T) {
	s := startYard(t)
	s.drift(t)
	say := func(code int, args ...string) (string, string) {
		return do(t, []int{code}, append(args, "--plan", s.plan)...)
	}
	open := func() string {
		out, _ := say(exitDone, "show", "findings", "--json")
		return out
	}
	const key = "clock-off/recorder"
	if !strings.Contains(open(), key) {
		t.Fatal("the site has no such finding")
	}
	out, _ := say(exitDone, "hush", key, "2w", "--why", "part ordered")
	if !strings.Contains(out, key+" is quiet until") {
		t.Errorf("%s", out)
	}
	if strings.Contains(open(), key) {
		t.Error("hushed, and still shown")
	}
	out, _ = say(exitDone, "hush", "--list")
	if !strings.Contains(out, "part ordered") {
		t.Errorf("the list has no reason: %s", out)
	}
	say(exitDone, "hush", "--end", key)
	if !strings.Contains(open(), key) {
		t.Error("its end did not show it again")
	}
	say(exitDone, "hush", "--all", "2h", "--why", "roof work")
	if strings.Contains(open(), key) {
		t.Error("all hushed, and one shown")
	}
	if out, _ = say(exitDone, "show", "findings"); strings.Contains(out, "All as planned") || !strings.Contains(out, "findings are hushed") {
		t.Errorf("hushed is not planned:\n%s", out)
	}
	if out, _ = say(exitDone, "show", "findings", "--all"); !strings.Contains(out, "    key      "+key+"\n    hushed   roof work\n") {
		t.Errorf("--all does not say that they are quiet:\n%s", out)
	}
	out, _ = say(exitDone, "hush", "--list", "--json")
	if !strings.Contains(out, `"why": "roof work"`) {
		t.Errorf("%s", out)
	}
	say(exitDone, "hush", "--end", "all")
	_, told := say(exitFailed, "hush", "missing-device/nobody", "1h")
	if !strings.Contains(told, "no open finding") {
		t.Errorf("%s", told)
	}
	for _, bad := range [][]string{{"hush", key}, {"hush", key, "2"}, {"hush", key, "500 days"}, {"hush", key, "-1h"}, {"hush", "--all"},
		{"hush", "--list", "x"}, {"hush"}} {
		say(exitUsage, bad...)
	}
	do(t, []int{exitFailed}, "hush", "--all", "1h", "--plan", s.plan, "--logbook", filepath.Join(s.dir, "none.db"))
	if _, err := os.Stat(filepath.Join(s.dir, "none.db")); err == nil {
		t.Error("a hush made a logbook")
	}
}
