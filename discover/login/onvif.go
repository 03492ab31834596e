package login

import (
	"context"
	"crypto/rand"
	"net/http"
	"slices"
	"strings"
	"time"
)

const clockSlack = 5 * time.Minute // how far off a camera lets Created be; common practice

// onvif tries a UsernameToken on GetDeviceInformation, which only reads.
func (a *attempt) onvif(ctx context.Context, user string, password Secret) verdict {
	w := a.web(ctx)
	offset, known, v := a.clock(ctx, w)
	if v.outcome != "" {
		return v
	}
	look, err := a.soap(ctx, w, envelope("", "GetDeviceInformation"), false)
	if err != nil {
		return a.lookFailed(err)
	}
	if v := a.lookedONVIF(look); v.outcome != "" {
		return v
	}

	a.result.Scheme = "username-token"
	nonce := make([]byte, 16)
	rand.Read(nonce) // never fails, crypto/rand
	created := time.Now().Add(offset).UTC().Format("2006-01-02T15:04:05Z")
	sent := a.result.Sent
	answer, err := a.soap(ctx, w, envelope(usernameToken(user, password.Reveal(), nonce, created), "GetDeviceInformation"), true)
	if err != nil {
		return a.unanswered(err, a.result.Sent > sent)
	}
	v = judgeONVIF(look, answer)
	if v.outcome != Refused {
		return v
	}
	// A refusal that may have another ground than the password is none.
	switch {
	case !known:
		v.outcome, v.reason = CannotTell, "refused, but its clock could not be read, and a wrong clock refuses too"
	case offset.Abs() > clockSlack:
		v.outcome, v.reason = CannotTell, "refused, but its clock is wrong, which may refuse the right password too"
	case look.header.Get("WWW-Authenticate") != "":
		v.outcome, v.reason = CannotTell, "refused, but it asks for an HTTP login and may take no other"
	}
	return v
}

// clock reads the device's clock, which needs no login.
func (a *attempt) clock(ctx context.Context, w *web) (offset time.Duration, known bool, v verdict) {
	before := time.Now()
	p, err := a.soap(ctx, w, envelope("", "GetSystemDateAndTime"), false)
	if err != nil {
		return 0, false, a.lookFailed(err)
	}
	if v := a.looked(p); v.outcome != "" {
		return 0, false, v
	}
	clock := parseSOAP(p.body).clock
	if clock.IsZero() {
		return 0, false, verdict{}
	}
	after := time.Now()
	offset = clock.Sub(before.Add(after.Sub(before) / 2)).Round(time.Second)
	a.result.ClockOffset = offset
	return offset, true, verdict{}
}

func (a *attempt) soap(ctx context.Context, w *web, body string, login bool) (page, error) {
	return w.do(ctx, request{
		method: http.MethodPost, url: w.at(a.account.path()), body: body, login: login,
		header: http.Header{"Content-Type": {"application/soap+xml; charset=utf-8"}},
	})
}

func (a *attempt) lookedONVIF(look page) verdict {
	if v := a.looked(look); v.outcome != "" {
		return v
	}
	switch s := parseSOAP(look.body); {
	case s.isInformation():
		v := cannotTell("gives its information without a login")
		v.open = true
		return v
	case look.status == http.StatusUnauthorized || s.isRefusal():
		return verdict{}
	case s.body.Local == "":
		return cannotTell("answers with no SOAP")
	}
	return shownWithout(look.status)
}

func judgeONVIF(look, answer page) verdict {
	v := verdict{read: true}
	s := parseSOAP(answer.body)
	if s.isInformation() {
		v.outcome = Accepted
		return v
	}
	if sign := lockSign(answer.status, answer.body, look.body); sign != "" {
		return locked(sign)
	}
	switch {
	case s.isRefusal(), answer.status == http.StatusUnauthorized:
		v.outcome = Refused
	case answer.status == http.StatusForbidden:
		return locked("status 403 in answer to the login")
	default:
		v.outcome, v.reason = CannotTell, "answers the login with neither its information nor a refusal"
	}
	return v
}

func (s soapAnswer) isInformation() bool {
	return s.body.Space == deviceNS && s.body.Local == "GetDeviceInformationResponse"
}

// isRefusal: ter:NotAuthorized of ONVIF (from memory), or FailedAuthentication of
// OASIS Web Services Security, section 12.
func (s soapAnswer) isRefusal() bool {
	return strings.EqualFold(s.body.Local, "Fault") &&
		slices.ContainsFunc(s.codes, func(c string) bool { return c == "NotAuthorized" || c == "FailedAuthentication" })
}
