package snmp_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"
)

const secret = "tern-quay-audit"

func TestSecretStaysHidden(t *testing.T) {
	cred := snmp.Credentials{Version: "2c", Community: secret}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
		for _, v := range []any{cred.Community, cred, &cred, []snmp.Secret{secret}} {
			got := fmt.Sprintf(verb, v)
			if strings.Contains(got, secret) || strings.Contains(got, fmt.Sprintf("%x", secret)) {
				t.Errorf("%s of %T: %s", verb, v, got)
			}
		}
	}
	if got := fmt.Sprint(cred.Community); got != "(hidden)" {
		t.Errorf("got %s", got)
	}
	out, err := json.Marshal(cred)
	if err != nil || bytes.Contains(out, []byte(secret)) || !bytes.Contains(out, []byte("(hidden)")) {
		t.Errorf("json: %s, %v", out, err)
	}
	var log bytes.Buffer
	slog.New(slog.NewTextHandler(&log, nil)).Info("asked", "community", cred.Community, "cred", cred)
	if strings.Contains(log.String(), secret) {
		t.Errorf("slog: %s", log.String())
	}
	if string(cred.Community) != secret {
		t.Error("the text itself is gone")
	}
}

// A client that a log line prints by accident shows no secret either.
func TestClientHidesSecrets(t *testing.T) {
	c := dial(t, start(t, simnet.AgentOptions{Communities: []string{secret}}), snmp.Credentials{Version: "2c", Community: secret}, snmp.Options{})
	for _, verb := range []string{"%v", "%+v", "%#v"} {
		if got := fmt.Sprintf(verb, c); strings.Contains(got, secret) {
			t.Errorf("%s: %s", verb, got)
		}
		if got := fmt.Sprintf(verb, *c); strings.Contains(got, secret) {
			t.Errorf("%s of the value: %s", verb, got)
		}
	}
}

func TestValidate(t *testing.T) {
	for _, tt := range []struct {
		name string
		cred snmp.Credentials
		want []string // a part of each line; none: valid
	}{
		{"2c", snmp.Credentials{Version: "2c", Community: "public"}, nil},
		{"v1, longest community", snmp.Credentials{Version: "1", Community: snmp.Secret(strings.Repeat("a", 127))}, nil},
		{"no authentication", snmp.Credentials{Version: "3", User: "audit"}, nil},
		{"all of v3", snmp.Credentials{Version: "3", User: "audit", Auth: "sha512", AuthSecret: "12345678", Privacy: "aes256c", PrivacySecret: "87654321"}, nil},
		{"zero", snmp.Credentials{}, []string{"version: missing"}},
		{"other version", snmp.Credentials{Version: "2"}, []string{`version: "2"`}},
		{"no community", snmp.Credentials{Version: "2c"}, []string{"community: missing"}},
		{"community too long", snmp.Credentials{Version: "2c", Community: snmp.Secret(strings.Repeat("a", 128))}, []string{"128 bytes, at most 127"}},
		{"user with 2c", snmp.Credentials{Version: "2c", Community: "public", User: "audit"}, []string{"no user"}},
		{"community with 3", snmp.Credentials{Version: "3", Community: "public", User: "audit"}, []string{"version 3 has none"}},
		{"short secrets", snmp.Credentials{Version: "3", User: "audit", Auth: "sha", AuthSecret: "1234567", Privacy: "aes", PrivacySecret: "7654321"},
			[]string{"auth secret: 7 characters, at least 8", "privacy secret: 7 characters"}},
		{"missing secret", snmp.Credentials{Version: "3", User: "audit", Auth: "sha"}, []string{"auth secret: 0 characters"}},
		{"secret without use", snmp.Credentials{Version: "3", User: "audit", AuthSecret: "12345678"}, []string{"auth secret: given"}},
		{"privacy without authentication", snmp.Credentials{Version: "3", User: "audit", Privacy: "aes", PrivacySecret: "12345678"}, []string{"privacy: needs auth"}},
		{"everything at once", snmp.Credentials{Version: "3", Auth: "sha1", Privacy: "3des", Context: strings.Repeat("c", 33)},
			[]string{"user: 0 bytes", "context: 33 bytes", `auth: "sha1"`, `privacy: "3des"`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.cred.Validate()
			if err == nil && len(tt.want) == 0 {
				return
			}
			lines := strings.Split(fmt.Sprint(err), "\n")
			if len(lines) != len(tt.want) {
				t.Fatalf("got %q, want %q", lines, tt.want)
			}
			for i, want := range tt.want {
				if !strings.Contains(lines[i], want) {
					t.Errorf("got %q, want %q in it", lines[i], want)
				}
			}
		})
	}
}

func TestWeak(t *testing.T) {
	full := snmp.Credentials{Version: "3", User: "audit", Auth: "sha256", AuthSecret: "12345678", Privacy: "aes", PrivacySecret: "87654321"}
	if got := full.Weak(); got != nil {
		t.Errorf("got %q for SHA-256 and AES", got)
	}
	old, open, shared := full, full, full
	old.Auth, old.Privacy = "md5", "des"
	open.Privacy, open.PrivacySecret = "none", ""
	shared.PrivacySecret = shared.AuthSecret
	for _, tt := range []struct {
		cred snmp.Credentials
		want []string
	}{
		{snmp.Credentials{Version: "2c"}, []string{"clear text"}},
		{snmp.Credentials{Version: "1"}, []string{"clear text"}},
		{old, []string{"MD5", "DES"}},
		{open, []string{"no privacy"}},
		{snmp.Credentials{Version: "3", User: "audit"}, []string{"no authentication"}},
		{shared, []string{"share one secret"}},
	} {
		got := tt.cred.Weak()
		if len(got) != len(tt.want) || !slices.EqualFunc(got, tt.want, strings.Contains) {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}
