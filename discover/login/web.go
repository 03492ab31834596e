package login

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptrace"
	"net/netip"
	"net/url"
	"strings"
	"sync"
)

const mostHops = 3 // redirects that are followed

var (
	errElsewhere = errors.New("sends elsewhere: to another host, or from TLS to plain text")
	errForEver   = errors.New("redirects too often")
)

// web speaks HTTP to the target alone: a new connection for each request, no
// proxy, no compression, no retry (net/http repeats a request only on a
// connection that it used before), no redirect unless asked.
type web struct {
	a   *attempt
	rt  *http.Transport
	jar *cookiejar.Jar
}

// page is an answer. body is at most mostBody bytes long; what came beyond is cut.
type page struct {
	status int
	header http.Header
	body   []byte
	url    *url.URL
}

// request is what to send. login says that it carries the account.
type request struct {
	method string
	url    *url.URL
	body   string
	header http.Header
	login  bool
}

// web's connections end with ctx, the attempt's: net/http goes on dialling and shaking
// hands after a request's own context has ended.
func (a *attempt) web(ctx context.Context) *web {
	dial := func(address string) (*conn, error) {
		to, err := netip.ParseAddrPort(address)
		if err != nil || to.Addr() != a.target.Addr() {
			return nil, errElsewhere
		}
		return a.connect(ctx, to)
	}
	jar, _ := cookiejar.New(nil) // its error is always nil
	return &web{a: a, jar: jar, rt: &http.Transport{
		DialContext: func(_ context.Context, _, address string) (net.Conn, error) {
			c, err := dial(address)
			if err != nil {
				return nil, err
			}
			return listenAfterTalk(c), nil
		},
		DialTLSContext: func(_ context.Context, _, address string) (net.Conn, error) {
			c, err := dial(address)
			if err != nil {
				return nil, err
			}
			t, err := a.secure(ctx, c)
			if err != nil {
				return nil, err
			}
			return listenAfterTalk(t), nil
		},
		DisableKeepAlives:      true,
		DisableCompression:     true,
		MaxResponseHeaderBytes: 64 << 10,
		Protocols:              http1(),
	}}
}

// politeConn reads nothing before something was written: net/http logs the first
// bytes of an answer that comes unasked, and they may hold the password of the request before.
type politeConn struct {
	net.Conn
	talk  func()
	heard <-chan struct{} // closed once talk was called
}

func listenAfterTalk(c net.Conn) *politeConn {
	heard := make(chan struct{})
	return &politeConn{Conn: c, heard: heard, talk: sync.OnceFunc(func() { close(heard) })}
}

func (c *politeConn) Read(b []byte) (int, error) {
	<-c.heard
	return c.Conn.Read(b)
}

func (c *politeConn) Write(b []byte) (int, error) {
	defer c.talk()
	return c.Conn.Write(b)
}

func (c *politeConn) Close() error {
	err := c.Conn.Close()
	c.talk()
	return err
}

// http1: HTTP/2 repeats requests on its own.
func http1() *http.Protocols {
	p := new(http.Protocols)
	p.SetHTTP1(true)
	return p
}

// at is the URL of a path of the plan on the target.
func (w *web) at(path string) *url.URL {
	u := &url.URL{Scheme: "http", Host: w.a.target.String(), Path: path}
	if p, err := url.ParseRequestURI(path); err == nil {
		u.Path, u.RawPath, u.RawQuery = p.Path, p.RawPath, p.RawQuery
	}
	if w.a.account.TLS {
		u.Scheme = "https"
	}
	return u
}

// do sends one request and reads its answer, redirect or not.
func (w *web) do(ctx context.Context, q request) (page, error) {
	if q.login {
		ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{
			GotConn: func(httptrace.GotConnInfo) { w.a.result.Sent++ },
		})
	}
	r, err := http.NewRequestWithContext(ctx, q.method, q.url.String(), strings.NewReader(q.body))
	if err != nil {
		return page{}, errElsewhere // only an URL of the device's can be at fault
	}
	if q.header != nil {
		r.Header = q.header
	}
	r.Header.Set("User-Agent", "boundwalk")
	for _, c := range w.jar.Cookies(q.url) {
		r.AddCookie(c)
	}
	resp, err := w.rt.RoundTrip(r)
	if err != nil {
		return page{}, err
	}
	defer resp.Body.Close()
	w.jar.SetCookies(q.url, resp.Cookies())
	p := page{status: resp.StatusCode, header: resp.Header, url: q.url}
	p.body, err = io.ReadAll(io.LimitReader(resp.Body, mostBody))
	return p, err
}

// get follows a few redirects on the same device.
func (w *web) get(ctx context.Context, u *url.URL) (page, error) {
	p, err := w.do(ctx, request{method: http.MethodGet, url: u})
	if err != nil {
		return p, err
	}
	return w.follow(ctx, p)
}

// follow goes where p sends, with no body and no account.
func (w *web) follow(ctx context.Context, p page) (page, error) {
	for range mostHops {
		to, err := w.next(p)
		if to == nil || err != nil {
			return p, err
		}
		if p, err = w.do(ctx, request{method: http.MethodGet, url: to}); err != nil {
			return p, err
		}
	}
	if to, _ := w.next(p); to != nil {
		return p, errForEver
	}
	return p, nil
}

// next is where p sends, nil where it does not.
func (w *web) next(p page) (*url.URL, error) {
	switch p.status {
	case http.StatusMovedPermanently, http.StatusFound, http.StatusSeeOther,
		http.StatusTemporaryRedirect, http.StatusPermanentRedirect:
	default:
		return nil, nil
	}
	where := p.header.Get("Location")
	if where == "" {
		return nil, nil
	}
	to, err := p.url.Parse(where)
	if err != nil || to.Scheme != "http" && to.Scheme != "https" || p.url.Scheme == "https" && to.Scheme == "http" {
		return nil, errElsewhere
	}
	host, err := netip.ParseAddr(to.Hostname())
	if err != nil || host.WithZone("") != w.a.target.Addr().WithZone("") {
		return nil, errElsewhere
	}
	port := to.Port()
	if port == "" {
		port = map[string]string{"http": "80", "https": "443"}[to.Scheme]
	}
	to.Host = net.JoinHostPort(w.a.target.Addr().String(), port)
	return to, nil
}
