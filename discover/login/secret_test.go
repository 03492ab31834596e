package login_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"boundwalk/discover/login"
)

// However a password is printed, alone or inside something, it is not there.
func TestSecretPrintsHidden(t *testing.T) {
	s := login.NewSecret(secret)
	type inside struct {
		Shown  login.Secret
		hidden login.Secret
		Deep   map[string]*login.Secret
	}
	in := inside{s, s, map[string]*login.Secret{"a": &s}}
	values := []any{s, &s, in, &in, []login.Secret{s}, []any{in}, map[login.Secret]int{s: 1}, account(login.OverSSH), target("127.0.0.1:22", account(login.OverSSH))}
	var out bytes.Buffer
	for _, v := range values {
		for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%X", "% x", "%d", "%p", "%T", "%10.3s", "%!"} {
			fmt.Fprintf(&out, verb+"\n", v)
		}
		fmt.Fprintln(&out, v, errors.New(fmt.Sprint(v)))
		if b, err := json.Marshal(v); err == nil {
			out.Write(b)
		}
		if b, err := xml.Marshal(v); err == nil {
			out.Write(b)
		}
		for _, h := range []slog.Handler{slog.NewTextHandler(&out, nil), slog.NewJSONHandler(&out, nil)} {
			slog.New(h).Info("try", "value", v, slog.Group("g", "secret", s))
		}
	}
	if n := strings.Count(out.String(), "(hidden)"); n < 100 {
		t.Errorf("only %d times hidden: nothing was printed", n)
	}
	holdsNone(t, out.String())
}

// holdsNone searches a text for the password: plain, in pieces of its own, in Base64, hex or reversed.
func holdsNone(t *testing.T, s string) {
	t.Helper()
	for _, form := range []string{
		secret, strings.ToLower(secret), strings.ToUpper(secret), "Zx81", "zx81", "Halyard",
		fmt.Sprintf("%x", secret), fmt.Sprintf("%X", secret), fmt.Sprintf("% x", secret), fmt.Sprint([]byte(secret))[1:20],
		"QW5jaG9yLVp4ODEtSGFseWFyZ", // Base64 of the password
		"c2xpcHdheTpBbmNob3I",       // Base64 of user:password
	} {
		if strings.Contains(s, form) {
			t.Errorf("the password is there as %q", form)
		}
	}
}

func TestSecretWipe(t *testing.T) {
	s := login.NewSecret(secret)
	copied := s
	if !s.IsSet() || copied.Reveal() != secret {
		t.Fatal("the secret is not kept")
	}
	s.Wipe()
	s.Wipe()
	if s.IsSet() || copied.IsSet() || copied.Reveal() != "" {
		t.Error("a copy outlives the wipe")
	}
	var none login.Secret
	none.Wipe()
	if none.IsSet() || none.Reveal() != "" {
		t.Error("the zero value is set")
	}
	if !login.NewSecret("").IsSet() {
		t.Error("an empty password is a password")
	}
}
