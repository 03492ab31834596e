package login_test

import (
	"fmt"
	"net/http"
	"testing"

	"boundwalk/discover/login"
)

const loginPage = `<html><form method=post action=/do><input type=hidden name=token value=t0ken>` +
	`<input name=u><input type=password name=p></form></html>`

// scripts is what a page brings along for all that it may have to say.
const scripts = `<script>var said = ["too many attempts", "account locked", "wrong password"]</script>`

// formDevice is a device with a login page, a token against forged requests, and a session
// cookie. fails is its answer to a wrong login.
func formDevice(t *testing.T, pass string, fails func(w http.ResponseWriter)) *webDevice {
	return serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		session, _ := r.Cookie("session")
		switch {
		case r.Method == http.MethodPost:
			d.counted.Add(1)
			if r.PostFormValue("u") != user || r.PostFormValue("p") != pass || r.PostFormValue("token") != "t0ken" || r.PostFormValue("go") != "1" {
				fails(w)
				return
			}
			http.SetCookie(w, &http.Cookie{Name: "session", Value: "s3ssion", Path: "/"})
			http.Redirect(w, r, "/status", http.StatusSeeOther)
		case r.URL.Path == "/status" && session != nil && session.Value == "s3ssion":
			fmt.Fprint(w, "log out here")
		default:
			fmt.Fprint(w, loginPage+scripts)
		}
	})
}

func form(f login.Form) login.Account {
	a := account(login.OverForm)
	f.Post, f.UserField, f.PassField = "/do", "u", "p"
	f.Fields = map[string]string{"go": "1"}
	f.Success = "log out here"
	a.Form = f
	return a
}

func TestForm(t *testing.T) {
	again := func(w http.ResponseWriter) { fmt.Fprint(w, loginPage) }
	sorry := func(w http.ResponseWriter) { fmt.Fprint(w, loginPage+"wrong name or password") }
	unauthorized := func(w http.ResponseWriter) { w.WriteHeader(401) }
	tooMany := func(w http.ResponseWriter) { fmt.Fprint(w, loginPage+"Too many attempts, try again later") }
	messages := func(w http.ResponseWriter) { fmt.Fprint(w, loginPage+scripts) }
	proof := login.Form{Proof: "/status"}
	cases := []struct {
		name     string
		pass     string
		fails    func(http.ResponseWriter)
		form     login.Form
		contrast bool
		want     login.Outcome
		sent     int
	}{
		{"a page behind the login proves it", secret, again, proof, false, login.Accepted, 1},
		{"words of a lock that the login page holds anyhow", "changed", messages, login.Form{Proof: "/messages"}, false, login.CannotTell, 1},
		{"without such a page it takes a second try, which is not allowed", secret, again, login.Form{}, false, login.CannotTell, 1},
		{"without such a page a second try proves it", secret, again, login.Form{}, true, login.Accepted, 2},
		{"login page again: no proof of either", "changed", again, proof, false, login.CannotTell, 1},
		{"the plan's sign of failure", "changed", sorry, login.Form{Proof: "/status", Failure: "wrong name"}, false, login.Refused, 1},
		{"a sign of failure that the login page shows anyhow", "changed", again, login.Form{Failure: "password"}, false, login.CannotTell, 1},
		{"status 401", "changed", unauthorized, login.Form{}, false, login.Refused, 1},
		{"words of a lock", "changed", tooMany, proof, false, login.Locked, 1},
		{"status 403", "changed", func(w http.ResponseWriter) { w.WriteHeader(403) }, proof, false, login.Locked, 1},
		{"sent on with the login", "changed", func(w http.ResponseWriter) { w.Header().Set("Location", "/x"); w.WriteHeader(307) }, proof,
			false, login.CannotTell, 1},
		{"sent to another host", "changed", func(w http.ResponseWriter) { w.Header().Set("Location", "http://192.0.2.7/"); w.WriteHeader(302) },
			proof, false, login.CannotTell, 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := formDevice(t, c.pass, c.fails)
			a := form(c.form)
			a.Contrast = c.contrast
			expect(t, check(t, d.at, a), c.want, &d.counted, c.sent)
		})
	}
}

// A device that says the same to all proves nothing, whatever it says.
func TestFormThatIsAlwaysTheSame(t *testing.T) {
	for _, body := range []string{loginPage, "log out here", loginPage + "log out here"} {
		for _, f := range []login.Form{{}, {Proof: "/status"}, {Failure: "password"}} {
			d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
				if r.Method == http.MethodPost {
					d.counted.Add(1)
				}
				fmt.Fprint(w, body)
			})
			a := form(f)
			a.Contrast = true
			r := check(t, d.at, a)
			expect(t, r, login.CannotTell, &d.counted, r.Sent)
			if r.Sent > 1 {
				t.Errorf("%d logins to a device that is always the same", r.Sent)
			}
		}
	}
	t.Run("welcomes every login", func(t *testing.T) {
		d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
			if r.Method == http.MethodPost {
				d.counted.Add(1)
				fmt.Fprint(w, "log out here")
				return
			}
			fmt.Fprint(w, loginPage)
		})
		a := form(login.Form{})
		a.Contrast = true
		expect(t, check(t, d.at, a), login.CannotTell, &d.counted, 2)
	})
}
