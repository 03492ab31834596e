package login

import (
	"bytes"
	"context"
	"net/http"
	"net/url"
)

// form tries a login page as the plan describes it.
func (a *attempt) form(ctx context.Context, user string, password Secret) verdict {
	w, f := a.web(ctx), a.account.Form
	look, err := w.get(ctx, w.at(a.account.path()))
	if err != nil {
		return a.lookFailed(err)
	}
	if v := a.looked(look); v.outcome != "" {
		return v
	}
	if look.status >= 300 {
		return shownWithout(look.status)
	}
	a.result.Scheme = "form"
	before := look
	if f.Proof != "" {
		if before, err = w.get(ctx, w.at(f.Proof)); err != nil {
			return a.lookFailed(err)
		}
	}
	if bytes.Contains(before.body, []byte(f.Success)) {
		return cannotTell("the sign of success is shown without a login")
	}

	post := look.url
	if f.Post != "" {
		post = w.at(f.Post)
		post.Scheme, post.Host = look.url.Scheme, look.url.Host // where a redirect led
	}
	sent := a.result.Sent
	answer, err := w.do(ctx, request{
		method: http.MethodPost, url: post, login: true, body: f.fill(look.body, user, password).Encode(),
		header: http.Header{"Content-Type": {"application/x-www-form-urlencoded"}},
	})
	if err != nil {
		return a.unanswered(err, a.result.Sent > sent)
	}
	if answer.status == http.StatusTemporaryRedirect || answer.status == http.StatusPermanentRedirect {
		return verdict{outcome: CannotTell, reason: "wants the login sent to another place", read: true}
	}
	if answer, err = w.follow(ctx, answer); err != nil {
		return a.answerFailed(err)
	}
	return a.judgeForm(ctx, w, look, answer)
}

// fill makes the fields: the page's hidden ones, then the plan's.
func (f Form) fill(page []byte, user string, password Secret) url.Values {
	v := url.Values{}
	for name, value := range hiddenFields(page) {
		v.Set(name, value)
	}
	for name, value := range f.Fields {
		v.Set(name, value)
	}
	if f.UserField != "" {
		v.Set(f.UserField, user)
	}
	v.Set(f.PassField, password.Reveal())
	return v
}

// answerFailed is the verdict on an error after the login was answered.
func (a *attempt) answerFailed(err error) verdict {
	v := a.lookFailed(err)
	if v.outcome == NotChecked {
		v = a.unanswered(err, true)
	}
	return v
}

// judgeForm looks for the sign of success where the login should have led. An
// answer without it is not yet a refusal: a page that is always the same would
// look the same, so that only 401 or the plan's sign of failure counts.
func (a *attempt) judgeForm(ctx context.Context, w *web, look, answer page) verdict {
	f := a.account.Form
	if shows(answer, f.Success) && f.Proof == "" {
		return verdict{outcome: Accepted, read: true, weak: true}
	}
	if sign := lockSign(answer.status, answer.body, look.body); sign != "" {
		return locked(sign)
	}
	switch answer.status {
	case http.StatusForbidden:
		return locked("status 403 in answer to the login")
	case http.StatusUnauthorized:
		return verdict{outcome: Refused, read: true}
	}
	if f.Proof != "" {
		proof, err := w.get(ctx, w.at(f.Proof))
		if err != nil {
			return a.answerFailed(err)
		}
		if shows(proof, f.Success) {
			return verdict{outcome: Accepted, read: true}
		}
	}
	if f.Failure != "" && bytes.Contains(answer.body, []byte(f.Failure)) && !bytes.Contains(look.body, []byte(f.Failure)) {
		return verdict{outcome: Refused, read: true}
	}
	return verdict{outcome: CannotTell, reason: "neither the sign of success nor one of failure is shown", read: true}
}

func shows(p page, sign string) bool {
	return p.status >= 200 && p.status < 300 && bytes.Contains(p.body, []byte(sign))
}
