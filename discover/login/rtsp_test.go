package login_test

import (
	"bufio"
	"crypto/md5"
	"encoding/base64"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"boundwalk/discover/login"
)

const sdp = "v=0\r\no=- 0 0 IN IP4 203.0.113.131\r\ns=slip\r\nt=0 0\r\n"

// rtspDevice is a stream server. offer is what it asks for; right judges the
// Authorization field; no is its answer to a wrong one, "" being 401 again. It
// binds the nonce to the connection, as some do, unless it closes after each.
type rtspDevice struct {
	offer  string
	closes bool
	right  func(field, url string) bool
	no     string
	yes    string
}

func (d rtspDevice) serve(t *testing.T) (at string, counted *atomic.Int32) {
	counted = new(atomic.Int32)
	at = wire(t, func(c net.Conn) {
		defer c.Close()
		asked, n := d.closes, 0
		r := textproto.NewReader(bufio.NewReader(c))
		for {
			line, err := r.ReadLine()
			if err != nil {
				return
			}
			h, err := r.ReadMIMEHeader()
			if err != nil {
				return
			}
			if n++; h.Get("CSeq") != fmt.Sprint(n) {
				t.Errorf("CSeq %q of request %d", h.Get("CSeq"), n)
			}
			method, url, _ := strings.Cut(line, " ")
			url, _, _ = strings.Cut(url, " ")
			if method != "DESCRIBE" {
				t.Errorf("method %q", method)
			}
			if strings.Contains(url, "@") {
				t.Errorf("url %q carries a user", url)
			}
			field := h.Get("Authorization")
			if field != "" {
				counted.Add(1)
			}
			answer := "RTSP/1.0 401 Unauthorized\r\nWWW-Authenticate: " + d.offer + "\r\n"
			switch {
			case field != "" && asked && d.right(field, url):
				answer = d.yes
				if answer == "" {
					answer = fmt.Sprintf("RTSP/1.0 200 OK\r\nContent-Type: application/sdp\r\nContent-Length: %d\r\n", len(sdp))
				}
			case field != "" && d.no != "":
				answer = d.no
			}
			if d.closes {
				answer += "Connection: close\r\n"
			}
			answer += "CSeq: " + h.Get("CSeq") + "\r\n\r\n"
			if strings.Contains(answer, "application/sdp") {
				answer += sdp
			}
			if _, err := io.WriteString(c, answer); err != nil || d.closes {
				return
			}
			asked = true
		}
	})
	return at, counted
}

func isBasic(pass string) func(string, string) bool {
	want := "Basic " + base64.StdEncoding.EncodeToString([]byte(user+":"+pass))
	return func(field, _ string) bool { return field == want }
}

// isDigest is RFC 2069's response over the request's own URL.
func isDigest(pass string) func(string, string) bool {
	h := func(s string) string { return fmt.Sprintf("%x", md5.Sum([]byte(s))) }
	return func(field, url string) bool {
		want := h(h(user+":Tern Quay:"+pass) + ":n0nce:" + h("DESCRIBE:"+url))
		return strings.Contains(field, `response="`+want+`"`) && strings.Contains(field, `uri="`+url+`"`)
	}
}

func TestRTSP(t *testing.T) {
	const basicOffer, digestOffer = `Basic realm="Tern Quay"`, `Digest realm="Tern Quay", nonce="n0nce"`
	cases := []struct {
		name   string
		d      rtspDevice
		want   login.Outcome
		scheme string
	}{
		{"basic", rtspDevice{offer: basicOffer, right: isBasic(secret)}, login.Accepted, "basic"},
		{"basic changed", rtspDevice{offer: basicOffer, right: isBasic("changed")}, login.Refused, "basic"},
		{"digest", rtspDevice{offer: digestOffer, right: isDigest(secret)}, login.Accepted, "digest-md5"},
		{"digest changed", rtspDevice{offer: digestOffer, right: isDigest("changed")}, login.Refused, "digest-md5"},
		{"closes after each answer", rtspDevice{offer: digestOffer, right: isDigest(secret), closes: true}, login.Accepted, "digest-md5"},
		{"stale", rtspDevice{offer: digestOffer + ", stale=true", right: isDigest("changed")}, login.CannotTell, "digest-md5"},
		{"403", rtspDevice{offer: basicOffer, right: isBasic(""), no: "RTSP/1.0 403 Forbidden\r\n"}, login.Locked, "basic"},
		{"453", rtspDevice{offer: basicOffer, right: isBasic(""), no: "RTSP/1.0 453 Not Enough Bandwidth\r\n"}, login.Locked, "basic"},
		{"423", rtspDevice{offer: basicOffer, right: isBasic(""), no: "RTSP/1.0 423 Locked\r\n"}, login.Locked, "basic"},
		{"404 for the stream", rtspDevice{offer: basicOffer, right: isBasic(secret), yes: "RTSP/1.0 404 Not Found\r\n"}, login.CannotTell, "basic"},
		{"200 without a description", rtspDevice{offer: basicOffer, right: isBasic(secret), yes: "RTSP/1.0 200 OK\r\n"}, login.CannotTell, "basic"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			at, counted := c.d.serve(t)
			a := account(login.OverRTSP)
			a.Path = "/stream1"
			r := check(t, at, a)
			expect(t, r, c.want, counted, 1)
			if r.Scheme != c.scheme {
				t.Errorf("scheme %q, want %q", r.Scheme, c.scheme)
			}
		})
	}
	t.Run("contrast", func(t *testing.T) {
		at, counted := rtspDevice{offer: digestOffer, right: isDigest(secret)}.serve(t)
		a := account(login.OverRTSP)
		a.Contrast = true
		expect(t, check(t, at, a), login.Accepted, counted, 2)
	})
}

const rtspAsk = "RTSP/1.0 401 Unauthorized\r\nCSeq: 1\r\nWWW-Authenticate: Basic realm=\"x\"\r\n\r\n"

var rtspOddCases = []struct {
	name    string
	answers []string // one a request; then the connection is closed
	hold    bool     // or held
	want    login.Outcome
	sent    int
	open    bool
	reason  string
}{
	{"no login needed", []string{fmt.Sprintf("RTSP/1.0 200 OK\r\nCSeq: 1\r\nContent-Length: %d\r\n\r\n%s", len(sdp), sdp)}, false, login.CannotTell, 0, true, ""},
	{"200 to all", []string{"RTSP/1.0 200 OK\r\nCSeq: 1\r\n\r\n"}, false, login.CannotTell, 0, false, ""},
	{"no such stream", []string{"RTSP/1.0 404 Not Found\r\nCSeq: 1\r\n\r\n"}, false, login.CannotTell, 0, false, ""},
	{"limits before any login", []string{"RTSP/1.0 453 Not Enough Bandwidth\r\nCSeq: 1\r\n\r\n"}, false, login.Locked, 0, false, ""},
	{"another request's answer", []string{"RTSP/1.0 401 Unauthorized\r\nCSeq: 7\r\n\r\n"}, false, login.NotChecked, 0, false, ""},
	{"an HTTP server", []string{"HTTP/1.1 400 Bad Request\r\n\r\n"}, false, login.NotChecked, 0, false, ""},
	{"closed after the login", []string{rtspAsk, ""}, false, login.Locked, 1, false, ""},
	{"half an answer to the login", []string{rtspAsk, "RTSP/1.0 200 OK\r\nCSeq: 2\r\n"}, false, login.CannotTell, 1, false, ""},
	{"half a body", []string{rtspAsk, "RTSP/1.0 200 OK\r\nCSeq: 2\r\nContent-Length: 99\r\n\r\nv=0"}, false, login.CannotTell, 1, false, ""},
	{"length below zero", []string{rtspAsk, "RTSP/1.0 200 OK\r\nCSeq: 2\r\nContent-Length: -5\r\n\r\nv=0"}, false, login.CannotTell, 1, false, ""},
	{"line without end", []string{rtspAsk, strings.Repeat("RTSP", 1<<20)}, false, login.CannotTell, 1, false, ""},
	{"headers without end", []string{rtspAsk, "RTSP/1.0 200 OK\r\n" + strings.Repeat("X: y\r\n", 1<<19)}, false, login.CannotTell, 1, false,
		"more than 2 MiB sent, in answer to the login"},
	{"never", []string{rtspAsk, ""}, true, login.CannotTell, 1, false, ""},
}

// Streams that ask for no login, and devices that break the protocol after one.
func TestRTSPOdd(t *testing.T) {
	for _, c := range rtspOddCases {
		t.Run(c.name, func(t *testing.T) {
			var counted atomic.Int32
			at := wire(t, func(conn net.Conn) {
				defer conn.Close()
				r := textproto.NewReader(bufio.NewReader(conn))
				for _, answer := range c.answers {
					if _, err := r.ReadLine(); err != nil {
						return
					}
					h, err := r.ReadMIMEHeader()
					if err != nil {
						return
					}
					if h.Get("Authorization") != "" {
						counted.Add(1)
					}
					io.WriteString(conn, answer)
				}
				if c.hold {
					io.Copy(io.Discard, conn)
				}
			})
			timeout := 10 * time.Second
			if c.hold {
				timeout = 300 * time.Millisecond
			}
			r := checkFor(t, at, account(login.OverRTSP), timeout)
			expect(t, r, c.want, &counted, c.sent)
			if c.reason != "" && r.Reason != c.reason {
				t.Errorf("reason %q, want %q", r.Reason, c.reason)
			}
			if r.Unguarded != c.open {
				t.Errorf("unguarded %v, want %v", r.Unguarded, c.open)
			}
		})
	}
}
