package main

import (
	"strings"
	"testing"
)

// On the site as planned the doctor has no complaint about its agents; on one
// with a dark access point it says so and ends with 3.
func TestDoctor(t *testing.T) {
	s := startYard(t)
	out, _ := do(t, []int{exitDone}, "doctor", "--plan", s.plan)
	for _, want := range []string{"quay-switch: v3 as audit; offers ports, MAC table, LLDP, VLANs, power", "clock right", "weak SNMP",
		"judged only by what hangs behind them: loft-switch", `"boundwalk run" makes it`} {
		if !strings.Contains(unwrapped(out), want) {
			t.Errorf("no %q in:\n%s", want, out)
		}
	}
	if err := s.Lose(); err != nil {
		t.Fatal(err)
	}
	out, _ = do(t, []int{exitFindings}, "doctor", "--plan", s.plan, "--json")
	if !strings.Contains(out, `"subject": "office-ap"`) || !strings.Contains(out, `"worst": "fail"`) {
		t.Errorf("%s", out)
	}
	out, _ = do(t, []int{exitFindings}, "doctor", "--plan", s.plan, "--mail", "master@example.net")
	if !strings.Contains(unwrapped(out), "names no mail server") {
		t.Errorf("%s", out)
	}
}

// unwrapped is text with its lines joined.
func unwrapped(s string) string { return strings.Join(strings.Fields(s), " ") }
