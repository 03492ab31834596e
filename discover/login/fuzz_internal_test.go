package login

import (
	"bufio"
	"bytes"
	"strings"
	"testing"

	"github.com/icholy/digest"
)

// What a device may send as WWW-Authenticate never makes a field with a second
// line, nor one that the library cannot read back.
func FuzzChallenge(f *testing.F) {
	for _, s := range []string{
		`Basic realm="x"`, `Digest realm="a\"b", nonce="n", qop="auth, auth-int", algorithm=SHA-256-sess, opaque=o, stale=true`,
		`Digest nonce="n", userhash=true`, "Digest nonce=\"\xff\"", `Negotiate abc==, Basic`, "Digest nonce=\"a\r\nX: y\"", `,"=,`,
		"Digest nonce=n\u017f, algorithm=MD5-\u017fess, qop=auth",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		offers := parseChallenges([]string{s, s})
		if len(offers) > mostChallenges {
			t.Fatalf("%d offers", len(offers))
		}
		stale(offers)
		for _, over := range []Over{OverHTTP, OverHTTPBasic, OverHTTPDigest, OverRTSP} {
			c, err := choose(over, offers)
			if err != nil {
				continue
			}
			field, err := c.authorize("GET", "/", "user", "password", "", "")
			if err != nil {
				t.Fatalf("chosen, yet not answered: %v", err)
			}
			if strings.ContainsAny(field, "\r\n") {
				t.Fatalf("field of two lines: %q", field)
			}
			if c.scheme != "digest" {
				continue
			}
			cred, err := digest.ParseCredentials(field)
			if err != nil || cred.Nonce != c.params["nonce"] || cred.Realm != c.params["realm"] {
				t.Fatalf("%q is read back as %+v, %v", field, cred, err)
			}
		}
	})
}

func FuzzRTSP(f *testing.F) {
	for _, s := range []string{
		"RTSP/1.0 401 Unauthorized\r\nCSeq: 1\r\nWWW-Authenticate: Basic realm=\"x\"\r\n\r\n",
		"RTSP/1.0 200 OK\r\nContent-Length: 3\r\n\r\nv=0", "RTSP/1.0 200 OK\r\nContent-Length: 99999999999999999999\r\n\r\n",
		"RTSP/2.0 200\nContent-Length: -1\n\n", "RTSP/1.0 20x\r\n\r\n", "$\x00\x00\x04abcd", "RTSP/1.0 200 OK\r\n: x\r\n\r\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := readRTSP(bufio.NewReader(bytes.NewReader(b)))
		if len(a.body) > len(b) || len(a.body) > mostBody {
			t.Fatalf("body of %d bytes from %d", len(a.body), len(b))
		}
		if err == nil && (a.status < 100 || a.status > 999) {
			t.Fatalf("status %d", a.status)
		}
		lookedRTSP(a)
		judgeRTSP(a, a)
	})
}

func FuzzSOAP(f *testing.F) {
	for _, s := range []string{
		`<Envelope><Body><Fault><Code><Value>a:Sender</Value><Subcode><Value>ter:NotAuthorized</Value></Subcode></Code></Fault></Body></Envelope>`,
		`<e:Envelope xmlns:e="x"><e:Body><GetSystemDateAndTimeResponse><SystemDateAndTime><UTCDateTime><Time><Hour>1</Hour><Minute>2</Minute><Second>3</Second></Time><Date><Year>2026</Year><Month>3</Month><Day>4</Day></Date></UTCDateTime></SystemDateAndTime></GetSystemDateAndTimeResponse></e:Body></e:Envelope>`,
		`<Envelope><Body><GetDeviceInformationResponse xmlns="http://www.onvif.org/ver10/device/wsdl"/></Body></Envelope>`,
		strings.Repeat("<a>", 100), `<!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>`, "<a></b>", "\xff<Envelope>",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		a := parseSOAP(b)
		if len(a.codes) > 8 {
			t.Fatalf("%d codes", len(a.codes))
		}
		if y := a.clock.Year(); !a.clock.IsZero() && (y < 1970 || y > 2201) {
			t.Fatalf("clock %v", a.clock)
		}
		if a.isInformation() && a.isRefusal() {
			t.Fatal("both yes and no")
		}
		judgeONVIF(page{}, page{body: b})
	})
}

func FuzzHTML(f *testing.F) {
	for _, s := range []string{
		`<form><input type=password><input type=password></form>`, `<form><input type=hidden name=a value=b><input type=password>`,
		`<input type="PASSWORD"`, `<script><input type=password></script>`, `<plaintext><form>`, strings.Repeat("<form>", 50),
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		forms := pageForms(b)
		if len(forms) > mostForms {
			t.Fatalf("%d forms", len(forms))
		}
		for _, form := range forms {
			if len(form.hidden) > mostHidden {
				t.Fatalf("%d hidden fields", len(form.hidden))
			}
		}
		hiddenFields(b)
		lockSign(200, b, nil)
	})
}
