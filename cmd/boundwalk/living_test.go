package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"boundwalk/discover/simnet/ternquay"
	"boundwalk/inventory/planfile"
)

// yardSite is the example site served on loopback, with its plan and secrets in a directory.
type yardSite struct {
	*ternquay.Site
	dir, plan string
}

func startYard(t *testing.T) *yardSite {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	site, err := ternquay.Start(ctx)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cancel(); site.Close() })
	s := &yardSite{Site: site, dir: t.TempDir()}
	s.plan = filepath.Join(s.dir, "plan.yaml")
	if err := ternquay.WriteSecrets(s.dir); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.plan, site.PlanYAML(), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("BOUNDWALK_PLAN", "")
	t.Setenv("BOUNDWALK_LOGBOOK", "")
	return s
}

// do runs the program; the exit code is one of those wanted.
func do(t *testing.T, want []int, args ...string) (stdout, stderr string) {
	t.Helper()
	var o, e bytes.Buffer
	if code := run(t.Context(), args, strings.NewReader(""), &o, &e); !slices.Contains(want, code) {
		t.Fatalf("boundwalk %s: exit %d, want %v\n%s\n%s", strings.Join(args, " "), code, want, e.String(), o.String())
	}
	return o.String(), e.String()
}

// keys are the findings of a run by its JSON.
func runKeys(t *testing.T, args ...string) []string {
	t.Helper()
	out, _ := do(t, []int{exitDone, exitFindings, exitUnseen}, append([]string{"run", "--json"}, args...)...)
	var r struct {
		Findings []struct{ Key string }
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, f := range r.Findings {
		keys = append(keys, f.Key)
	}
	return keys
}

// draftArgs asks for a draft of the example site by all its agents.
func (s *yardSite) draftArgs(t *testing.T) []string {
	t.Helper()
	f, err := planfile.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"draft", "--site", "Tern Quay", "--network", "yard=203.0.113.0/25", "--network", "cameras=203.0.113.128/26",
		"--access", "core=v3:audit:sha256:file:core.auth:aes:file:core.priv", "--access", "yard=v2c:file:yard.community"}
	for _, d := range f.Plan.Devices {
		if d.Agent.IsValid() {
			args = append(args, "--agent", d.Agent.String()+"@"+d.Access)
		}
	}
	return args
}

var presenceKinds = []string{"missing-device", "unknown-device", "replaced-device", "moved-device", "address-differs", "wrong-network", "no-address",
	"address-conflict", "wrong-vlan", "cut-off", "changing-mac-devices"}

// steady is a draft without what is measured anew each time.
func steady(text []byte) string {
	return regexp.MustCompile(`draws: \{[^}]*\}|draws: [0-9.]+ W`).ReplaceAllString(string(text), "draws")
}

// A draft passes check, and the runs after it find nothing missing, unknown or moved.
func TestDraftThenRun(t *testing.T) {
	s := startYard(t)
	out := filepath.Join(s.dir, "draft.yaml")
	args := append(s.draftArgs(t), "--out", out)
	_, told := do(t, []int{exitDone}, args...)
	if !strings.Contains(told, "198.51.100.0/24") {
		t.Errorf("the network of the berths, found at the router, is not named:\n%s", told)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"# check: ", "quay-switch:", "unknown: count", "role: router", "role: plain-switch", "budget: 130 W", "at: quay-switch/5"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the draft has no %q:\n%s", want, text)
		}
	}
	if os.Getenv("SHOW") != "" {
		t.Logf("%s\n%s", text, told)
	}
	do(t, []int{exitDone}, "check", "--plan", out)
	for range 3 {
		for _, k := range runKeys(t, "--plan", out, "--logbook", filepath.Join(s.dir, "draft.db")) {
			if kind, _, _ := strings.Cut(k, "/"); slices.Contains(presenceKinds, kind) {
				t.Errorf("after the draft, a run finds %s\n%s", k, text)
			}
		}
	}
	if _, told := do(t, []int{exitUsage}, args...); !strings.Contains(told, "overwrites nothing") {
		t.Errorf("a second draft to the same file: %s", told)
	}
	second := filepath.Join(s.dir, "second.yaml")
	do(t, []int{exitDone}, append(s.draftArgs(t), "--out", second)...)
	if again, err := os.ReadFile(second); err != nil || steady(again) != steady(text) {
		t.Errorf("two drafts of one site differ: %v\n%s\n%s", err, text, again)
	}
}
