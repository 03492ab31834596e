package commission

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory"
)

// freshLogin is how long a factory account's refusal holds as proof: as long as
// the gate keeps a second try back.
const freshLogin = 24 * time.Hour

// usualCommunity is how results call the read community that agents come with.
const usualCommunity = "usual-read-community"

// account is what is known of one factory account or default community.
type account struct {
	entry, over string
	outcome     *inventory.LoginResult // the newest check that had an outcome; nil: none
	held        string                 // why this look did not check; empty: it did
}

// accounts sums up the checks of one device: of the look, and earlier ones.
func accounts(results []inventory.LoginResult, device string) []*account {
	var out []*account
	for i := range results {
		r := &results[i]
		if r.Device != device {
			continue
		}
		k := slices.IndexFunc(out, func(a *account) bool { return a.entry == r.Entry && a.over == r.Over })
		if k < 0 {
			k, out = len(out), append(out, &account{entry: r.Entry, over: r.Over})
		}
		switch a := out[k]; {
		case r.Outcome == inventory.LoginNotChecked:
			a.held = r.Why
		case a.outcome == nil || !r.When.Before(a.outcome.When):
			a.outcome = r
		}
	}
	slices.SortStableFunc(out, func(a, b *account) int { return strings.Compare(a.what(), b.what()) })
	return out
}

func (a *account) what() string {
	if a.entry == usualCommunity {
		return "usual community"
	}
	return "factory login"
}

// login tells what the gate of discover/login let through, in this look and in
// earlier ones. Not checked is never a pass.
func (j *judge) login() {
	all := accounts(j.snap.Logins, j.dev.Name)
	if !slices.ContainsFunc(all, func(a *account) bool { return a.entry != usualCommunity }) {
		j.untried()
	}
	for _, a := range all {
		j.account(a)
	}
}

// untried says why there is no check of a factory account.
func (j *judge) untried() {
	why := "not checked"
	switch {
	case !j.planned:
		why = "not checked: an unknown device is never tried"
	case j.dev.FactoryLogin == nil:
		why = "not checked: the plan names no factory account for it"
	case j.plan.FactoryLogins == "" || j.plan.FactoryLogins == inventory.LoginsOff:
		why = "not checked: the plan has factory_logins off"
	}
	j.say("factory login", Unknown, why, byHand)
}

const byHand = "see by hand that it takes no factory password"

// words are the outcomes for people. Refused never means changed: a disabled
// account or a clock that is off refuses as well.
var words = map[string]string{
	inventory.LoginAccepted: "still accepted", inventory.LoginUnset: "never set up", inventory.LoginCommunity: "answered",
	inventory.LoginRefused: "refused", inventory.LoginLocked: "locked", inventory.LoginCannotTell: "cannot tell",
}

func (j *judge) account(a *account) {
	r := a.outcome
	if r == nil {
		do := byHand
		if a.entry == usualCommunity {
			do = ""
		}
		j.say(a.what(), Unknown, "not checked: "+a.held, do)
		return
	}
	found := fmt.Sprintf("%s over %s, checked %s", words[r.Outcome], r.Over, j.clock(r.When))
	if r.Why != "" {
		found += ": " + r.Why
	}
	switch r.Outcome {
	case inventory.LoginAccepted, inventory.LoginUnset:
		j.say(a.what(), Fail, found, "set a password of its own now; a day later it may be checked again")
	case inventory.LoginCommunity:
		j.say(a.what(), Fail, found, "set a community of your own, or SNMPv3, and let only this machine ask")
	case inventory.LoginLocked:
		j.say(a.what(), Warn, found, fmt.Sprintf("let its lock run out and see that you can log in; then \"boundwalk accept lock/%s\"", j.dev.Name))
	case inventory.LoginRefused:
		if j.now.Sub(r.When) < freshLogin {
			j.say(a.what(), Pass, found, "")
			return
		}
		j.say(a.what(), Unknown, found+"; not checked now: "+a.held, byHand)
	default:
		do := byHand
		if a.entry == usualCommunity {
			do = "silence proves nothing here: see in its settings that no such community is left"
		}
		j.say(a.what(), Unknown, found, do)
	}
}

func (j *judge) clock(t time.Time) string {
	loc := j.plan.Site.Location
	if loc == nil {
		loc = time.UTC
	}
	return t.In(loc).Format("2 Jan 15:04")
}
