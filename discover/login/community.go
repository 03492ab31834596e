package login

import "context"

// community asks the caller's SNMP for one read. It never writes. Silence is
// no refusal: an agent drops a wrong community without a word.
func (a *attempt) community(ctx context.Context, user string, secret Secret) verdict {
	a.result.Scheme = "community"
	if a.account.User == "" {
		user = "" // a contrast makes up a community, not a user
	} else {
		a.result.Scheme = "usm"
	}
	a.result.Sent++
	// The error is not kept: it may hold the community.
	outcome, err := a.snmp(ctx, SNMPTry{Agent: a.target, User: user, Secret: secret})
	switch {
	case err == nil && outcome == Accepted:
		return verdict{outcome: Accepted, reason: "reading is allowed; writing was not tried", read: true}
	case err == nil && outcome == Refused:
		return verdict{outcome: Refused, read: true}
	case ctx.Err() != nil:
		return cannotTell("no answer in time")
	}
	return verdict{outcome: CannotTell, reason: "no answer: a wrong community is met with silence, and so is a closed port", read: err == nil}
}
