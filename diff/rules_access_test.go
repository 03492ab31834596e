package diff_test

import (
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

func TestCouldNotLook(t *testing.T) {
	plan := site(theSwitch(8))
	for _, c := range []struct {
		name   string
		result []inventory.Result
		want   []string
	}{
		{"refused", []inventory.Result{inventory.Refused}, []string{"could-not-look/sw"}},
		{"silent on a first run", []inventory.Result{inventory.NoAnswer}, []string{"could-not-look/sw"}},
		{"silent once", []inventory.Result{inventory.Complete, inventory.NoAnswer}, nil},
		{"silent twice", []inventory.Result{inventory.Complete, inventory.NoAnswer, inventory.NoAnswer}, []string{"could-not-look/sw"}},
		{"in part", []inventory.Result{inventory.Partial}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMemory()
			var fs []diff.Finding
			for _, r := range c.result {
				s := seen(plan, noon)
				s.Agents = []inventory.AgentState{{Device: "sw", Result: r}}
				s.Coverage = inventory.CoverageList{{Subject: "sw", Source: inventory.SourceSNMP, Result: r, Why: "wrong user"}}
				fs = m.run(plan, s)
			}
			want(t, fs, c.want...)
			if len(fs) > 0 {
				tells(t, fs[0].Observed, "wrong user")
			}
		})
	}
}

func TestInternetDown(t *testing.T) {
	plan := site(theSwitch(8))
	h := &inventory.History{Outages: []inventory.Outage{{What: "internet", From: noon.Add(-3 * time.Hour), To: noon.Add(-2 * time.Hour)}}}
	want(t, diff.Audit(plan, seen(plan, noon), h, noon))
	h.Outages = append(h.Outages, inventory.Outage{What: "internet", From: noon.Add(-time.Hour)})
	fs := diff.Audit(plan, seen(plan, noon), h, noon)
	want(t, fs, "internet-down/internet line")
	tells(t, fs[0].Observed, "for 1 h")
}

func TestAccessLines(t *testing.T) {
	plan := site(theSwitch(8), onPort("srv", inventory.Server, 0x22, "sw/4"), onPort("printer", inventory.Printer, 0x12, "sw/3"))
	s := seen(plan, noon)
	s.Doors = []inventory.DoorState{{Device: "sw", Port: 23}, {Device: "sw", Port: 80, Kind: "http"}, {Device: "sw", Port: 443, Kind: "https"},
		{Device: "printer", Port: 80, Kind: "http"}, {Device: "00:00:5e:00:53:77", Port: 23}}
	s.Agents = []inventory.AgentState{{Device: "sw", Result: inventory.Complete, Version: "v3", Weak: []string{"MD5 authentication is outdated"}},
		{Device: "srv", Result: inventory.Complete, Version: "v2c", Weak: []string{"clear text"}},
		{Device: "printer", Result: inventory.Complete, Version: "v1", Weak: []string{"clear text"}}}
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "unencrypted-management/site", "weak-snmp/site", "weak-snmp/sw")
	tells(t, fs[0].Title(), "2 devices")
	tells(t, fs[0].Observed, "telnet at 1, a web page without TLS at 1")
	tells(t, fs[1].Observed, "printer and srv")
}

func TestCertificateChanged(t *testing.T) {
	plan := site(theSwitch(8), onPort("srv", inventory.Server, 0x22, "sw/4"))
	print := func(p string, ago time.Duration) inventory.LoginResult {
		return inventory.LoginResult{Device: "srv", Over: "https", Outcome: inventory.LoginRefused, Fingerprint: p, When: noon.Add(-ago)}
	}
	for _, c := range []struct {
		name string
		past []inventory.LoginResult
		want []string
	}{
		{"the same", []inventory.LoginResult{print("aa", time.Hour)}, nil},
		{"another", []inventory.LoginResult{print("bb", time.Hour)}, []string{"certificate-changed/srv"}},
		{"none before", nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := seen(plan, noon)
			s.Logins = []inventory.LoginResult{print("aa", 0)}
			want(t, diff.Audit(plan, s, &inventory.History{Logins: map[string][]inventory.LoginResult{"srv": c.past}}, noon), c.want...)
		})
	}
}
