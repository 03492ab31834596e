package diff_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// FC-24: only what was proved is a finding, and the newest proof decides; "not
// checked" is not "ok".
func TestFC24Logins(t *testing.T) {
	cam := camera("cam", 5, "sw/5")
	cam.FactoryLogin = &inventory.FactoryLogin{Over: "rtsp", User: "admin", Password: "hunter2"}
	plan := site(theSwitch(8), cam)
	result := func(outcome string, ago time.Duration) inventory.LoginResult {
		return inventory.LoginResult{Device: "cam", Entry: "dome", Over: "rtsp", Outcome: outcome, When: noon.Add(-ago)}
	}
	for _, c := range []struct {
		name string
		now  []inventory.LoginResult
		past []inventory.LoginResult // newest first
		want []string
	}{
		{"accepted", []inventory.LoginResult{result(inventory.LoginAccepted, 0)}, nil, []string{"factory-login/cam"}},
		{"cannot tell", []inventory.LoginResult{result(inventory.LoginCannotTell, 0)}, nil, nil},
		{"refused", []inventory.LoginResult{result(inventory.LoginRefused, 0)}, []inventory.LoginResult{result(inventory.LoginAccepted, time.Hour)}, nil},
		{"accepted before, not checked now", []inventory.LoginResult{result(inventory.LoginNotChecked, 0)},
			[]inventory.LoginResult{result(inventory.LoginAccepted, time.Hour)}, []string{"factory-login/cam"}},
		{"asks to be set up", []inventory.LoginResult{result(inventory.LoginUnset, 0)}, nil, []string{"not-initialised/cam"}},
		{"public reads", []inventory.LoginResult{{Device: "cam", Entry: "public", Over: "snmp", Outcome: inventory.LoginCommunity, When: noon}}, nil,
			[]string{"default-community/cam"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := seen(plan, noon)
			s.Logins = c.now
			fs := diff.Audit(plan, s, &inventory.History{Logins: map[string][]inventory.LoginResult{"cam": c.past}}, noon)
			want(t, fs, c.want...)
			for _, f := range fs {
				if strings.Contains(fmt.Sprintf("%+v", f), "hunter2") {
					t.Error("the password stands in the finding")
				}
				tells(t, f.Observed, "checked Wed 25 Nov")
			}
		})
	}
}
