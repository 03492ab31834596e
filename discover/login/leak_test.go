package login_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"

	"boundwalk/discover/login"
)

// parrot repeats the password in all that it says: status lines, headers,
// places to go, pages, faults, and before it is asked.
func parrot(status int) func(c net.Conn) {
	return func(c net.Conn) {
		defer c.Close()
		r := bufio.NewReader(c)
		q, err := http.ReadRequest(r)
		if err != nil {
			fmt.Fprintf(c, "RTSP/1.0 %d %s\r\nCSeq: 1\r\nWWW-Authenticate: Digest realm=\"%[2]s\", nonce=\"%[2]s\", algorithm=%[2]s\r\n\r\n", status, secret)
			return
		}
		io.Copy(io.Discard, io.LimitReader(q.Body, q.ContentLength))
		if q.Header.Get("Authorization") == "" && q.Method == http.MethodGet && status != 302 {
			fmt.Fprintf(c, "HTTP/1.1 401 %s\r\nWWW-Authenticate: Basic realm=\"%[1]s\"\r\nSet-Cookie: %[1]s=%[1]s\r\nConnection: close\r\n\r\n%[1]s", secret)
			return
		}
		fmt.Fprintf(c, "HTTP/1.1 %d %s\r\nLocation: http://%[2]s:%[2]s@%[2]s/%[2]s\r\n%[2]s: %[2]s\r\nSet-Cookie: a=%[2]s\r\nConnection: close\r\n\r\n%[2]s account %[2]s locked", status, secret)
	}
}

// parrots starts devices that say the password wherever a device may say anything.
func parrots(t *testing.T) map[string]string {
	devices := map[string]string{
		"speaks first": wire(t, func(c net.Conn) {
			defer c.Close()
			fmt.Fprintf(c, "HTTP/1.1 200 %s\r\n%[1]s: %[1]s\r\n\r\n%[1]s", secret)
			io.Copy(io.Discard, c)
		}),
		"not any protocol": wire(t, func(c net.Conn) { defer c.Close(); io.WriteString(c, secret+"\r\n"+secret) }),
		"broken headers": wire(t, func(c net.Conn) {
			defer c.Close()
			http.ReadRequest(bufio.NewReader(c))
			io.WriteString(c, "HTTP/1.1 200 OK\r\n"+secret+"\r\n\r\n")
		}),
	}
	for _, status := range []int{200, 302, 400, 401, 403, 423, 500, 999} {
		devices[fmt.Sprint("parrot ", status)] = wire(t, parrot(status))
	}
	at, _, _ := sshDevice(t, func(n *atomic.Int32, _ net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{
			ServerVersion:  "SSH-2.0-" + secret,
			BannerCallback: func(ssh.ConnMetadata) string { return secret },
			PasswordCallback: func(ssh.ConnMetadata, []byte) (*ssh.Permissions, error) {
				return nil, &ssh.BannerError{Message: secret, Err: errNo}
			},
		}
	})
	devices["ssh"] = at
	return devices
}

// A search of all that comes out finds no password, whatever the device says.
func TestNoOutputHoldsThePassword(t *testing.T) {
	var out bytes.Buffer
	log.SetOutput(&out)
	logger := slog.New(slog.NewTextHandler(&out, nil))
	defer log.SetOutput(os.Stderr)

	for name, at := range parrots(t) {
		for _, over := range []login.Over{login.OverHTTP, login.OverForm, login.OverSSH, login.OverRTSP, login.OverONVIF, login.OverSNMP} {
			for _, tls := range []bool{false, true} {
				ledger := &memory{}
				checker := &login.Checker{Ledger: ledger, Lab: lab, Timeout: 200 * time.Millisecond,
					SNMP: func(_ context.Context, q login.SNMPTry) (login.Outcome, error) {
						return "", fmt.Errorf("no answer to %s", q.Secret.Reveal())
					}}
				a := account(over)
				a.TLS, a.Contrast = tls, true
				a.Form = login.Form{UserField: "u", PassField: "p", Success: "welcome", Failure: "sorry", Proof: "/p"}
				targets := []login.Target{target(at, a)}
				fmt.Fprintf(&out, "%+v %#v\n", targets, targets)
				results := checker.Check(t.Context(), targets)
				b, err := json.Marshal([]any{results, ledger.tries, targets})
				if err != nil {
					t.Fatal(err)
				}
				fmt.Fprintf(&out, "%s %+v %#v %s %s\n%s\n", name, results, results, results[0].Reason, results[0].Lock, b)
				logger.Info("login", "result", results[0], "targets", targets, "tries", ledger.tries)
			}
		}
	}
	log.SetOutput(os.Stderr)
	if n := strings.Count(out.String(), "dome 1"); n < 500 {
		t.Errorf("the output is too short to be worth a search: %d results", n)
	}
	holdsNone(t, out.String())
	for _, word := range []string{"Unsolicited", "http: "} {
		if strings.Contains(out.String(), word) {
			t.Errorf("a library logs on its own: %q", word)
		}
	}
}
