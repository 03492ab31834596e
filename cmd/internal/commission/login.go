package commission

import (
	"fmt"
	"slices"

	"boundwalk/inventory"
)

// login tells what the gate let through in this look; nothing is tried here.
func (j *judge) login() {
	for _, l := range slices.Backward(j.snap.Logins) {
		if l.Device != j.dev.Name {
			continue
		}
		found := fmt.Sprintf("%s over %s", l.Outcome, l.Over)
		if l.Why != "" {
			found += ": " + l.Why
		}
		switch l.Outcome {
		case inventory.LoginRefused:
			j.say("factory login", Pass, found, "")
		case inventory.LoginAccepted, inventory.LoginUnset, inventory.LoginCommunity:
			j.say("factory login", Fail, found, "set a password of your own now")
		default:
			j.say("factory login", Unknown, found, "see by hand that it takes no factory password")
		}
		return
	}
	why := "not checked"
	switch {
	case !j.planned:
		why = "not checked: an unknown device is never tried"
	case j.dev.FactoryLogin == nil:
		why = "not checked: the plan names no factory account for it"
	case j.plan.FactoryLogins == "" || j.plan.FactoryLogins == inventory.LoginsOff:
		why = "not checked: the plan has factory_logins off"
	}
	j.say("factory login", Unknown, why, "see by hand that it takes no factory password")
}
