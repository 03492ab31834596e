package mail_test

import (
	"context"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/mail"
)

const token = "s3cret-token"

// hook starts an HTTPS server and returns the settings for it.
func hook(t *testing.T, answer http.HandlerFunc) mail.Hook {
	t.Helper()
	server := httptest.NewUnstartedServer(answer)
	server.Config.ErrorLog = log.New(io.Discard, "", 0)
	server.StartTLS()
	t.Cleanup(server.Close)
	pool := x509.NewCertPool()
	pool.AddCert(server.Certificate())
	return mail.Hook{URL: mail.Secret(server.URL + "/hook/" + token), RootCAs: pool, Timeout: time.Minute}
}

func TestHookPosts(t *testing.T) {
	h := hook(t, func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		if r.Method != http.MethodPost || r.Header.Get("Content-Type") != "application/json" ||
			string(body) != `{"site":"Tern Quay"}` || r.URL.Path != "/hook/"+token {
			t.Errorf("%s %s %s", r.Method, r.URL, body)
		}
		w.WriteHeader(http.StatusAccepted)
		io.WriteString(w, "noted\n\x1b[31m"+strings.Repeat("x", 1<<20))
	})
	receipt, err := h.Post(t.Context(), []byte(`{"site":"Tern Quay"}`))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(receipt.ServerWords, "202 Accepted noted [31mxxx") || len(receipt.ServerWords) > 600 ||
		!strings.HasPrefix(receipt.Server, "https://127.0.0.1:") {
		t.Errorf("receipt %+v", receipt)
	}
}

func TestHookRefused(t *testing.T) {
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		t.Error("the redirect was followed")
	}))
	t.Cleanup(other.Close)
	for name, test := range map[string]struct {
		status    int
		permanent bool
		words     string
	}{
		"no such hook":       {http.StatusNotFound, true, "404 Not Found gone fishing"},
		"slow down":          {http.StatusTooManyRequests, false, "429 Too Many Requests gone fishing"},
		"out of order":       {http.StatusBadGateway, false, "502 Bad Gateway gone fishing"},
		"elsewhere":          {http.StatusFound, true, "302 Found (go to " + other.URL + ", which is not followed)"},
		"elsewhere for good": {http.StatusPermanentRedirect, true, "308 Permanent Redirect (go to " + other.URL},
	} {
		t.Run(name, func(t *testing.T) {
			h := hook(t, func(w http.ResponseWriter, r *http.Request) {
				if test.status/100 == 3 {
					w.Header().Set("Location", other.URL+"/"+token)
				}
				w.WriteHeader(test.status)
				io.WriteString(w, "gone fishing")
			})
			_, err := h.Post(t.Context(), []byte(`{}`))
			got, ok := errors.AsType[*mail.SendError](err)
			if !ok || got.Code != test.status || got.Permanent != test.permanent || !strings.HasPrefix(got.Words, test.words) {
				t.Fatalf("got %+v", err)
			}
			if strings.Contains(err.Error(), token) {
				t.Fatalf("the error tells the token: %v", err)
			}
		})
	}
}

func TestHookErrorsHideTheAddress(t *testing.T) {
	distrusted := hook(t, func(http.ResponseWriter, *http.Request) {})
	distrusted.RootCAs = nil
	for name, test := range map[string]struct {
		hook mail.Hook
		want string
	}{
		"http not asked for":  {mail.Hook{URL: "http://ternquay.example/" + token}, "not encrypted"},
		"no host":             {mail.Hook{URL: "https:///" + token}, "https://host/path"},
		"no address":          {mail.Hook{}, "https://host/path"},
		"another scheme":      {mail.Hook{URL: "file:///" + token, Plain: true}, "https://host/path"},
		"not an address":      {mail.Hook{URL: "https://ternquay.example:x/" + token}, "port"},
		"untrusted":           {distrusted, "certificate"},
		"nobody there, plain": {mail.Hook{URL: "http://127.0.0.1:1/" + token, Plain: true}, "POST"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := test.hook.Post(t.Context(), []byte(`{}`))
			if _, ok := errors.AsType[*mail.SendError](err); !ok || !strings.Contains(err.Error(), test.want) {
				t.Fatalf("got %v, want %q", err, test.want)
			}
			if strings.Contains(err.Error(), token) {
				t.Fatalf("the error tells the token: %v", err)
			}
		})
	}
	if _, err := distrusted.Post(t.Context(), []byte(`{`)); err == nil || !strings.Contains(err.Error(), "not JSON") {
		t.Errorf("got %v", err)
	}
}

func TestHookSilent(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	h := hook(t, func(w http.ResponseWriter, r *http.Request) {
		swallow(r)
		cancel()
		<-r.Context().Done()
	})
	h.Timeout = time.Hour
	if _, err := h.Post(ctx, []byte(`{}`)); !errors.Is(err, context.Canceled) {
		t.Fatalf("got %v", err)
	}
	h = hook(t, func(w http.ResponseWriter, r *http.Request) {
		swallow(r)
		<-r.Context().Done()
	})
	h.Timeout = 50 * time.Millisecond
	if _, err := h.Post(t.Context(), []byte(`{}`)); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("got %v", err)
	}
}

// swallow reads the request; only then does the server see the other side go.
func swallow(r *http.Request) { io.Copy(io.Discard, r.Body) }
