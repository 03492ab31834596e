package mail

import (
	"bytes"
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"
)

// Hook is an address that takes urgent findings as JSON.
type Hook struct {
	// URL is where to post. It often holds a token, so it is treated as a
	// secret: errors name its host only.
	URL Secret

	// Plain allows http; the default is https alone.
	Plain bool

	// Timeout bounds the whole exchange; zero means 30 seconds.
	Timeout time.Duration

	// RootCAs are those whose certificates are trusted; nil means the system's.
	RootCAs *x509.CertPool
}

// maxReply is how much of a webhook's reply is read, in bytes.
const maxReply = 64 << 10

// Post sends payload, which must be JSON. A status of 2xx means taken. Nothing
// is redirected, so the payload goes to the host in the settings or nowhere.
// Any error is a *SendError, whose Code is the HTTP status.
func (h Hook) Post(ctx context.Context, payload []byte) (Receipt, error) {
	target, err := h.target()
	if err != nil {
		return Receipt{}, &SendError{Server: "webhook", Step: "settings", Permanent: true, Err: err}
	}
	server := target.Scheme + "://" + target.Host
	if !json.Valid(payload) {
		return Receipt{}, &SendError{Server: server, Step: "build", Permanent: true, Err: errors.New("the payload is not JSON")}
	}
	ctx, cancel := context.WithTimeout(ctx, cmp.Or(h.Timeout, 30*time.Second))
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, target.String(), bytes.NewReader(payload))
	if err != nil {
		return Receipt{}, &SendError{Server: server, Step: "settings", Permanent: true, Err: hideURL(err)}
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", "boundwalk")
	response, err := h.client().Do(request)
	if err != nil {
		return Receipt{}, &SendError{Server: server, Step: "POST", Err: hideURL(err)}
	}
	defer response.Body.Close()
	// The status decides. A reply that breaks off only costs words.
	body, _ := io.ReadAll(io.LimitReader(response.Body, maxReply))
	words := line(response.Status+" "+string(body), 500)
	if response.StatusCode/100 == 2 {
		return Receipt{Server: server, ServerWords: words}, nil
	}
	if location, err := response.Location(); err == nil {
		words = line(fmt.Sprintf("%s (go to %s://%s, which is not followed)", response.Status, location.Scheme, location.Host), 500)
	}
	return Receipt{}, &SendError{
		Server: server, Step: "POST", Code: response.StatusCode, Words: words,
		Permanent: refusedForGood(response.StatusCode), Err: errors.New("not taken"),
	}
}

// refusedForGood tells statuses that time does not heal (RFC 9110, section 15).
func refusedForGood(status int) bool {
	switch status {
	case http.StatusRequestTimeout, http.StatusTooEarly, http.StatusTooManyRequests:
		return false
	}
	return status < 500
}

func (h Hook) target() (*url.URL, error) {
	target, err := url.Parse(string(h.URL))
	switch {
	case err != nil:
		return nil, hideURL(err)
	case target.Scheme == "http" && !h.Plain:
		return nil, errors.New("the address begins with http: not encrypted, and that was not asked for")
	case target.Scheme != "https" && target.Scheme != "http", target.Host == "":
		return nil, errors.New("want an address such as https://host/path")
	}
	return target, nil
}

func (h Hook) client() *http.Client {
	return &http.Client{
		Transport: &http.Transport{
			Proxy:                  http.ProxyFromEnvironment,
			TLSClientConfig:        &tls.Config{RootCAs: h.RootCAs, MinVersion: tls.VersionTLS12},
			DisableKeepAlives:      true, // urgent findings are rare
			MaxResponseHeaderBytes: maxReply,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// hideURL takes the address out of an error of net/http or net/url.
func hideURL(err error) error {
	if wrapped, ok := errors.AsType[*url.Error](err); ok {
		return wrapped.Err
	}
	return err
}
