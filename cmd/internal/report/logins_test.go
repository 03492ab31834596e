package report_test

import (
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/report"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Devices of which the same is known share a line, and what wants a hand stands first.
func TestLoginsTogether(t *testing.T) {
	noon := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	var tries []store.LoginTry
	for _, d := range []struct{ name, outcome string }{{"a-cam", inventory.LoginCannotTell}, {"b-cam", inventory.LoginRefused},
		{"c-cam", inventory.LoginCannotTell}, {"d-cam", inventory.LoginAccepted}} {
		tries = append(tries, store.LoginTry{Device: d.name, Entry: "usual", Over: "snmp", Outcome: d.outcome, At: noon, Sent: 1})
	}
	var b strings.Builder
	if err := report.Logins(&b, tries, nil, time.UTC, report.Style{}); err != nil {
		t.Fatal(err)
	}
	accounts, _, _ := strings.Cut(b.String(), "Tries")
	var at []int
	for _, want := range []string{"- d-cam over snmp, usual: answers to it", "- a-cam, c-cam over snmp, usual: cannot tell", "- b-cam over snmp, usual: refused"} {
		at = append(at, strings.Index(accounts, want))
	}
	if at[0] < 0 || at[1] < at[0] || at[2] < at[1] {
		t.Errorf("they stand at %d in\n%s", at, accounts)
	}
}
