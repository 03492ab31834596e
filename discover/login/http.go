package login

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
)

// http tries Basic or Digest on a page that asks for one.
func (a *attempt) http(ctx context.Context, user string, password Secret) verdict {
	w := a.web(ctx)
	look, err := w.get(ctx, w.at(a.account.path()))
	if err != nil {
		return a.lookFailed(err)
	}
	if v := a.looked(look); v.outcome != "" {
		return v
	}
	if look.status != http.StatusUnauthorized {
		return shownWithout(look.status)
	}
	offer, err := choose(a.account.Over, parseChallenges(look.header.Values("WWW-Authenticate")))
	if err != nil {
		return cannotTell(err.Error())
	}
	a.result.Scheme = offer.name()
	field, err := offer.authorize(http.MethodGet, look.url.RequestURI(), user, password.Reveal(), "", "")
	if err != nil {
		return cannotTell(err.Error())
	}
	sent := a.result.Sent
	answer, err := w.do(ctx, request{
		method: http.MethodGet, url: look.url, login: true,
		header: http.Header{"Authorization": {field}},
	})
	if err != nil {
		return a.unanswered(err, a.result.Sent > sent)
	}
	return judge(look, answer)
}

// lookFailed is the verdict where the look without a login ended in an error.
func (a *attempt) lookFailed(err error) verdict {
	if errors.Is(err, errElsewhere) || errors.Is(err, errForEver) {
		return cannotTell(err.Error())
	}
	return a.unanswered(err, false)
}

// looked finds what the look alone already tells: a lock, or a device that was never set up.
func (a *attempt) looked(look page) verdict {
	switch {
	case look.status == http.StatusLocked || look.status == http.StatusTooManyRequests:
		return locked(fmt.Sprintf("status %d before any login", look.status))
	case look.status >= 400 && lockSign(look.status, look.body, nil) != "":
		return locked(lockSign(look.status, look.body, nil) + ", before any login")
	case a.asksForFirstPassword(look):
		return verdict{outcome: NotInitialised, reason: "it asks to set its first password"}
	}
	return verdict{}
}

func shownWithout(status int) verdict {
	if status < 300 {
		return cannotTell(fmt.Sprintf("answers with status %d without a login: nothing to compare with", status))
	}
	return cannotTell(fmt.Sprintf("answers with status %d without a login", status))
}

// judge compares the answers without and with the login. The page asked for a
// login, so that a 2xx answer is a contrast by itself.
func judge(look, answer page) verdict {
	v := verdict{read: true}
	if sign := lockSign(answer.status, answer.body, look.body); sign != "" {
		return locked(sign)
	}
	switch {
	case answer.status == http.StatusForbidden:
		return locked("status 403 in answer to the login")
	case answer.status == http.StatusUnauthorized && stale(parseChallenges(answer.header.Values("WWW-Authenticate"))):
		v.outcome, v.reason = CannotTell, "it calls its own nonce too old"
	case answer.status == http.StatusUnauthorized:
		v.outcome = Refused
	case answer.status < 200 || answer.status >= 300:
		v.outcome, v.reason = CannotTell, fmt.Sprintf("answers the login with status %d", answer.status)
	case len(answer.body) > 0 && bytes.Equal(answer.body, look.body):
		v.outcome, v.reason = CannotTell, "the page is the same with and without the login"
	default:
		v.outcome = Accepted
	}
	return v
}
