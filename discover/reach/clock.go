package reach

import (
	"context"
	"crypto/tls"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptrace"
	"net/netip"
	"net/url"
	"strings"
	"time"

	"github.com/beevik/ntp"
)

// A Clock is how far a device's clock is ahead of ours.
type Clock struct {
	Offset time.Duration // negative: behind

	// Error is how far Offset may be off: half of the round trip, and of a
	// second where the device tells whole seconds.
	Error time.Duration

	// Doubt says why the device's own word should not be trusted, such as an
	// SNTP server that is not synchronised; else empty.
	Doubt string

	Seen time.Time // by our clock
}

const (
	clockTime   = 3 * time.Second
	clockSize   = 64 << 10 // octets of an answer
	wholeSecond = time.Second / 2
)

// SNTP reads the clock of an NTP server with one packet (RFC 5905; the port is
// 123). The error matches ErrNoAnswer, ErrRefused or ErrNotOffered where it
// amounts to that; so do those of HTTPDate and ONVIFTime.
func SNTP(ctx context.Context, server netip.AddrPort) (Clock, error) {
	ctx, cancel := context.WithTimeout(ctx, clockTime)
	defer cancel()
	now := time.Now()
	resp, err := ntp.QueryWithOptions(server.String(), ntp.QueryOptions{
		Timeout: clockTime,
		Dialer: func(_, remote string) (net.Conn, error) {
			conn, err := (&net.Dialer{}).DialContext(ctx, "udp", remote)
			if err == nil {
				context.AfterFunc(ctx, func() { conn.Close() })
			}
			return conn, err
		},
	})
	switch {
	case err != nil && ctx.Err() != nil:
		return Clock{}, clockError("SNTP", server, context.Cause(ctx))
	case err != nil && sentinel(err) == nil:
		return Clock{}, clockError("SNTP", server, fmt.Errorf("%w: %w", ErrNotOffered, err))
	case err != nil:
		return Clock{}, clockError("SNTP", server, err)
	case resp.IsKissOfDeath():
		return Clock{}, clockError("SNTP", server, fmt.Errorf("%w: kiss of death", ErrRefused)) // RFC 5905, section 7.4
	}
	c := Clock{Offset: resp.ClockOffset, Error: resp.RTT / 2, Seen: now}
	if err := resp.Validate(); err != nil {
		c.Doubt = err.Error()
	}
	return c, nil
}

// HTTPDate reads the clock from the Date field (RFC 9110, section 6.6.1) of the
// answer to one HEAD request for "/", whatever its status is. With secure it
// uses HTTPS and takes any certificate.
func HTTPDate(ctx context.Context, server netip.AddrPort, secure bool) (Clock, error) {
	u := url.URL{Scheme: "http", Host: server.String(), Path: "/"}
	if secure {
		u.Scheme = "https"
	}
	req, err := http.NewRequest(http.MethodHead, u.String(), nil)
	if err != nil {
		return Clock{}, clockError("HTTP", server, err)
	}
	var c Clock
	err = exchange(ctx, req, func(resp *http.Response, sent, came time.Time) error {
		told, err := http.ParseTime(resp.Header.Get("Date"))
		if err != nil {
			return fmt.Errorf("%w: no date in the answer", ErrNotOffered)
		}
		c = fromSeconds(told, sent, came)
		return nil
	})
	if err != nil {
		return Clock{}, clockError("HTTP", server, err)
	}
	return c, nil
}

// timeRequest is GetSystemDateAndTime of the ONVIF core specification, which
// must be answered without a login.
const timeRequest = `<?xml version="1.0" encoding="UTF-8"?>` +
	`<s:Envelope xmlns:s="http://www.w3.org/2003/05/soap-envelope"><s:Body>` +
	`<GetSystemDateAndTime xmlns="http://www.onvif.org/ver10/device/wsdl"/></s:Body></s:Envelope>`

// ONVIFTime reads a camera's clock with one request to its device service, and
// does not log in.
func ONVIFTime(ctx context.Context, camera netip.AddrPort) (Clock, error) {
	u := url.URL{Scheme: "http", Host: camera.String(), Path: "/onvif/device_service"}
	req, err := http.NewRequest(http.MethodPost, u.String(), strings.NewReader(timeRequest))
	if err != nil {
		return Clock{}, clockError("ONVIF", camera, err)
	}
	req.Header.Set("Content-Type", `application/soap+xml; charset=utf-8; action="http://www.onvif.org/ver10/device/wsdl/GetSystemDateAndTime"`)
	var c Clock
	err = exchange(ctx, req, func(resp *http.Response, sent, came time.Time) error {
		switch {
		case resp.StatusCode == http.StatusUnauthorized, resp.StatusCode == http.StatusForbidden:
			return fmt.Errorf("%w: status %d", ErrRefused, resp.StatusCode)
		case resp.StatusCode != http.StatusOK:
			return fmt.Errorf("%w: status %d", ErrNotOffered, resp.StatusCode)
		}
		b, err := io.ReadAll(io.LimitReader(resp.Body, clockSize))
		if err != nil {
			return err
		}
		told, err := parseTime(b)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrNotOffered, err)
		}
		c = fromSeconds(told, sent, came)
		return nil
	})
	if err != nil {
		return Clock{}, clockError("ONVIF", camera, err)
	}
	return c, nil
}

// parseTime decodes UTCDateTime of a GetSystemDateAndTimeResponse. Names are
// matched without their namespaces.
func parseTime(b []byte) (time.Time, error) {
	var e struct {
		XMLName xml.Name `xml:"Envelope"`
		UTC     *struct {
			Hour   *int `xml:"Time>Hour"`
			Minute *int `xml:"Time>Minute"`
			Second *int `xml:"Time>Second"`
			Year   *int `xml:"Date>Year"`
			Month  *int `xml:"Date>Month"`
			Day    *int `xml:"Date>Day"`
		} `xml:"Body>GetSystemDateAndTimeResponse>SystemDateAndTime>UTCDateTime"`
	}
	if err := xml.Unmarshal(b, &e); err != nil {
		return time.Time{}, err
	}
	u := e.UTC
	if u == nil || u.Hour == nil || u.Minute == nil || u.Second == nil || u.Year == nil || u.Month == nil || u.Day == nil {
		return time.Time{}, errors.New("no time in UTC in the answer")
	}
	t := time.Date(*u.Year, time.Month(*u.Month), *u.Day, *u.Hour, *u.Minute, *u.Second, 0, time.UTC)
	if *u.Year < 1970 || *u.Year > 2200 || t.Year() != *u.Year || t.Month() != time.Month(*u.Month) || t.Day() != *u.Day ||
		t.Hour() != *u.Hour || t.Minute() != *u.Minute || t.Second() != *u.Second {
		return time.Time{}, errors.New("an impossible time in the answer")
	}
	return t, nil
}

// fromSeconds makes a reading of a time told in whole seconds, which was true
// somewhere between sent and came and is cut, not rounded.
func fromSeconds(told, sent, came time.Time) Clock {
	half := came.Sub(sent) / 2
	return Clock{Offset: told.Add(wholeSecond).Sub(sent.Add(half)), Error: wholeSecond + half, Seen: came}
}

// exchange sends one HTTP request on a connection of its own, without redirects
// or proxy, and gives the answer to take with the times around it.
func exchange(ctx context.Context, req *http.Request, take func(resp *http.Response, sent, came time.Time) error) error {
	ctx, cancel := context.WithTimeout(ctx, clockTime)
	defer cancel()
	transport := &http.Transport{
		DisableKeepAlives:      true,
		DisableCompression:     true,
		MaxResponseHeaderBytes: 16 << 10,
		TLSClientConfig:        &tls.Config{InsecureSkipVerify: true}, // a clock is read, no secret is sent
	}
	defer transport.CloseIdleConnections()
	sent := time.Now()
	traced := httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{
		GotConn: func(httptrace.GotConnInfo) { sent = time.Now() }, // connecting is no part of the round trip
	})
	resp, err := transport.RoundTrip(req.WithContext(traced))
	came := time.Now()
	if err != nil {
		if cause := context.Cause(ctx); cause != nil {
			return cause
		}
		if sentinel(err) == nil {
			return fmt.Errorf("%w: %w", ErrNotOffered, err) // it talks, yet not HTTP
		}
		return err
	}
	defer resp.Body.Close()
	return take(resp, sent, came)
}

func clockError(what string, server netip.AddrPort, err error) error {
	if s := sentinel(err); s != nil {
		err = fmt.Errorf("%w: %w", s, err)
	}
	return fmt.Errorf("clock of %s by %s: %w", server, what, err)
}
