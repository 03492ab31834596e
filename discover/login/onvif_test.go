package login_test

import (
	"crypto/sha1"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"io"
	"net/http"
	"testing"
	"time"

	"boundwalk/discover/login"
)

const soapHead = `<?xml version="1.0"?><env:Envelope xmlns:env="http://www.w3.org/2003/05/soap-envelope" xmlns:tds="http://www.onvif.org/ver10/device/wsdl" xmlns:tt="http://www.onvif.org/ver10/schema" xmlns:ter="http://www.onvif.org/ver10/error"><env:Body>`
const soapTail = `</env:Body></env:Envelope>`

// soapRequest is what the camera reads of a request.
type soapRequest struct {
	Token *struct {
		Username string
		Password struct {
			Type string `xml:"Type,attr"`
			Text string `xml:",chardata"`
		}
		Nonce   string
		Created time.Time
	} `xml:"Header>Security>UsernameToken"`
	Body struct {
		Clock *struct{} `xml:"http://www.onvif.org/ver10/device/wsdl GetSystemDateAndTime"`
		Info  *struct{} `xml:"http://www.onvif.org/ver10/device/wsdl GetDeviceInformation"`
	}
}

// camera is a SOAP responder that rejects as the standards say: by the digest,
// and by Created further than five minutes from its clock.
type camera struct {
	pass    string
	skew    time.Duration // of its clock
	noClock bool
	free    bool   // no login needed
	asks    string // WWW-Authenticate; "": answers with a fault
	refuses func(w http.ResponseWriter)
}

func (c camera) serve(t *testing.T) *webDevice {
	return serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		var q soapRequest
		if err := xml.Unmarshal(b, &q); err != nil || r.URL.Path != "/onvif/device_service" || r.Method != http.MethodPost {
			t.Errorf("bad request: %v %s %s", err, r.Method, r.URL)
		}
		now := time.Now().Add(c.skew).UTC()
		switch {
		case q.Body.Clock != nil && c.noClock:
			w.WriteHeader(500)
		case q.Body.Clock != nil:
			fmt.Fprintf(w, soapHead+`<tds:GetSystemDateAndTimeResponse><tds:SystemDateAndTime><tt:UTCDateTime><tt:Time><tt:Hour>%d</tt:Hour><tt:Minute>%d</tt:Minute><tt:Second>%d</tt:Second></tt:Time>`+
				`<tt:Date><tt:Year>%d</tt:Year><tt:Month>%d</tt:Month><tt:Day>%d</tt:Day></tt:Date></tt:UTCDateTime></tds:SystemDateAndTime></tds:GetSystemDateAndTimeResponse>`+soapTail,
				now.Hour(), now.Minute(), now.Second(), now.Year(), now.Month(), now.Day())
		case q.Body.Info == nil:
			t.Errorf("something else was asked: %s", b)
		case c.free || q.Token != nil && c.right(q, now):
			if q.Token != nil {
				d.counted.Add(1)
			}
			fmt.Fprint(w, soapHead+`<tds:GetDeviceInformationResponse><tds:Model>dome</tds:Model></tds:GetDeviceInformationResponse>`+soapTail)
		default:
			if q.Token != nil {
				d.counted.Add(1)
				if c.refuses != nil {
					c.refuses(w)
					return
				}
			}
			if c.asks != "" {
				w.Header().Set("WWW-Authenticate", c.asks)
				w.WriteHeader(401)
				return
			}
			w.WriteHeader(400)
			fmt.Fprint(w, soapHead+`<env:Fault><env:Code><env:Value>env:Sender</env:Value><env:Subcode><env:Value>ter:NotAuthorized</env:Value></env:Subcode></env:Code><env:Reason><env:Text>no</env:Text></env:Reason></env:Fault>`+soapTail)
		}
	})
}

func (c camera) right(q soapRequest, now time.Time) bool {
	nonce, err := base64.StdEncoding.DecodeString(q.Token.Nonce)
	if err != nil || now.Sub(q.Token.Created).Abs() > 5*time.Minute {
		return false
	}
	sum := sha1.Sum([]byte(string(nonce) + q.Token.Created.Format(time.RFC3339) + c.pass))
	return q.Token.Username == user && q.Token.Password.Text == base64.StdEncoding.EncodeToString(sum[:])
}

func TestONVIF(t *testing.T) {
	says := func(status int, body string) func(http.ResponseWriter) {
		return func(w http.ResponseWriter) { w.WriteHeader(status); fmt.Fprint(w, body) }
	}
	const ask = `Digest realm="x", nonce="y"`
	cases := []struct {
		name string
		c    camera
		want login.Outcome
		sent int
		open bool
	}{
		{"factory account", camera{pass: secret}, login.Accepted, 1, false},
		{"changed", camera{pass: "changed"}, login.Refused, 1, false},
		{"clock four years slow", camera{pass: secret, skew: -4 * 365 * 24 * time.Hour}, login.Accepted, 1, false},
		{"changed, with a clock that is wrong", camera{pass: "changed", skew: time.Hour}, login.CannotTell, 1, false},
		{"clock unread", camera{pass: secret, noClock: true}, login.Accepted, 1, false},
		{"clock unread and wrong", camera{pass: secret, noClock: true, skew: time.Hour}, login.CannotTell, 1, false},
		{"no login needed", camera{free: true}, login.CannotTell, 0, true},
		{"asks by HTTP, takes the token", camera{pass: secret, asks: ask}, login.Accepted, 1, false},
		{"asks by HTTP, refuses", camera{pass: "changed", asks: ask}, login.CannotTell, 1, false},
		{"fault with words of a lock", camera{refuses: says(400,
			soapHead+`<env:Fault><env:Reason><env:Text>User is locked</env:Text></env:Reason></env:Fault>`+soapTail)}, login.Locked, 1, false},
		{"423", camera{refuses: says(423, "")}, login.Locked, 1, false},
		{"403", camera{refuses: says(403, "")}, login.Locked, 1, false},
		{"401 alone", camera{refuses: says(401, "")}, login.Refused, 1, false},
		{"another fault", camera{refuses: says(500, soapHead+`<env:Fault><env:Code><env:Value>env:Receiver</env:Value></env:Code></env:Fault>`+
			soapTail)}, login.CannotTell, 1, false},
		{"not SOAP", camera{refuses: says(200, "hello")}, login.CannotTell, 1, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := c.c.serve(t)
			r := check(t, d.at, account(login.OverONVIF))
			expect(t, r, c.want, &d.counted, c.sent)
			if r.Unguarded != c.open {
				t.Errorf("unguarded %v, want %v", r.Unguarded, c.open)
			}
			if off := (r.ClockOffset - c.c.skew).Abs(); !c.c.noClock && off > time.Minute {
				t.Errorf("clock offset %v, want %v", r.ClockOffset, c.c.skew)
			}
		})
	}
	t.Run("200 to all", func(t *testing.T) {
		d := serve(t, func(_ *webDevice, w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, "hello") })
		expect(t, check(t, d.at, account(login.OverONVIF)), login.CannotTell, &d.counted, 0)
	})
	t.Run("contrast", func(t *testing.T) {
		d := camera{pass: secret}.serve(t)
		a := account(login.OverONVIF)
		a.Contrast = true
		expect(t, check(t, d.at, a), login.Accepted, &d.counted, 2)
	})
}
