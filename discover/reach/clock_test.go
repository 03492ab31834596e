package reach_test

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/reach"
)

// within checks a reading of a clock that is ahead by want, against its own
// bound on the error.
func within(t *testing.T, got reach.Clock, want, mostError time.Duration) {
	t.Helper()
	if d := (got.Offset - want).Abs(); d > got.Error || got.Error > mostError || got.Seen.IsZero() {
		t.Errorf("offset %v with error %v at %v; want %v, error at most %v", got.Offset, got.Error, got.Seen, want, mostError)
	}
}

// serveNTP answers one request after another with a packet laid out as in RFC
// 5905, section 7.3. Change may alter it; nil is sent as it is.
func serveNTP(t *testing.T, ahead time.Duration, change func(b []byte)) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	t.Cleanup(func() { conn.Close(); <-ended })
	stamp := func(at time.Time) []byte {
		seconds := uint64(at.Unix() + 2208988800) // 1900 to 1970
		fraction := uint64(at.Nanosecond()) << 32 / 1e9
		return binary.BigEndian.AppendUint64(nil, seconds<<32|fraction)
	}
	go func() {
		defer close(ended)
		buf := make([]byte, 512)
		for {
			n, from, err := conn.ReadFrom(buf)
			if err != nil {
				return
			}
			now := time.Now().Add(ahead)
			b := append(make([]byte, 0, 48), 4<<3|4, 2, 6, 0xec) // no leap warning, version 4, server; stratum 2
			b = append(b, make([]byte, 12)...)
			b = append(b, stamp(now.Add(-time.Minute))...)
			b = append(b, buf[40:48]...) // the client's transmit time comes back
			b = append(b, stamp(now)...)
			b = append(b, stamp(now)...)
			if n < 48 {
				continue
			}
			if change != nil {
				change(b)
			}
			conn.WriteTo(b, from) //nolint:errcheck // the test misses its answer then
		}
	}()
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func TestSNTP(t *testing.T) {
	for _, ahead := range []time.Duration{0, 90 * time.Second, -48 * time.Hour} {
		got, err := reach.SNTP(t.Context(), serveNTP(t, ahead, nil))
		if err != nil || got.Doubt != "" {
			t.Fatalf("error %v, doubt %q", err, got.Doubt)
		}
		got.Error += 2 * time.Millisecond // the server's own stamps are apart by a moment
		within(t, got, ahead, 2*time.Second)
	}
	got, err := reach.SNTP(t.Context(), serveNTP(t, time.Hour, func(b []byte) { b[0] |= 3 << 6 }))
	if err != nil || got.Doubt == "" || (got.Offset-time.Hour).Abs() > time.Minute {
		t.Errorf("not synchronised: %+v, %v; want a doubt", got, err)
	}
	_, err = reach.SNTP(t.Context(), serveNTP(t, 0, func(b []byte) { b[1] = 0; copy(b[12:], "DENY") }))
	if !errors.Is(err, reach.ErrRefused) {
		t.Errorf("kiss of death: error %v", err)
	}
	_, err = reach.SNTP(t.Context(), serveNTP(t, 0, func(b []byte) { copy(b[24:], "not ours") }))
	if !errors.Is(err, reach.ErrNotOffered) && !errors.Is(err, reach.ErrNoAnswer) {
		t.Errorf("answer to another request: error %v", err)
	}
	_, err = reach.SNTP(t.Context(), closedPort(t, "udp4"))
	if !errors.Is(err, reach.ErrRefused) {
		t.Errorf("nobody there: error %v", err)
	}
	silent, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	when := time.Now()
	_, err = reach.SNTP(ctx, silent.LocalAddr().(*net.UDPAddr).AddrPort())
	if !errors.Is(err, context.Canceled) || time.Since(when) > time.Second {
		t.Errorf("cancelled: error %v after %v", err, time.Since(when))
	}
}

// closedPort returns a port of loopback that was free a moment ago.
func closedPort(t *testing.T, network string) netip.AddrPort {
	t.Helper()
	if network == "udp4" {
		c, err := net.ListenPacket(network, "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		return c.LocalAddr().(*net.UDPAddr).AddrPort()
	}
	l, err := net.Listen(network, "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).AddrPort()
}

func address(s *httptest.Server) netip.AddrPort {
	return s.Listener.Addr().(*net.TCPAddr).AddrPort()
}

func TestHTTPDate(t *testing.T) {
	for _, ahead := range []time.Duration{0, -90 * time.Minute, 400 * 24 * time.Hour} {
		handler := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.Method != http.MethodHead || r.URL.Path != "/" || len(r.Cookies()) > 0 || r.Header.Get("Authorization") != "" {
				t.Errorf("request %s %s %v", r.Method, r.URL, r.Header)
			}
			w.Header().Set("Date", time.Now().Add(ahead).UTC().Format(http.TimeFormat))
			w.Header().Set("Location", "http://203.0.113.1/")
			w.WriteHeader(http.StatusFound) // any status will do, and nothing is followed
		})
		plain, secure := httptest.NewServer(handler), httptest.NewTLSServer(handler)
		for s, tls := range map[*httptest.Server]bool{plain: false, secure: true} {
			got, err := reach.HTTPDate(t.Context(), address(s), tls)
			if err != nil {
				t.Fatal(err)
			}
			within(t, got, ahead, 3*time.Second)
			if got.Error < time.Second/2 {
				t.Errorf("error %v, want at least half a second", got.Error)
			}
			s.Close()
		}
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.Header()["Date"] = nil }))
	defer server.Close()
	if _, err := reach.HTTPDate(t.Context(), address(server), false); !errors.Is(err, reach.ErrNotOffered) {
		t.Errorf("no date: error %v", err)
	}
	if _, err := reach.HTTPDate(t.Context(), address(server), true); !errors.Is(err, reach.ErrNotOffered) {
		t.Errorf("no TLS: error %v", err)
	}
	if _, err := reach.HTTPDate(t.Context(), closedPort(t, "tcp4"), false); !errors.Is(err, reach.ErrRefused) {
		t.Errorf("nobody there: error %v", err)
	}
	silent, err := net.Listen("tcp4", "127.0.0.1:0") // takes connections, says nothing
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	if _, err := reach.HTTPDate(t.Context(), silent.Addr().(*net.TCPAddr).AddrPort(), false); !errors.Is(err, reach.ErrNoAnswer) {
		t.Errorf("silent: error %v", err)
	}
}

// The answer is laid out as the ONVIF core specification has it.
const onvifAnswer = `<?xml version="1.0" encoding="UTF-8"?><SOAP-ENV:Envelope xmlns:SOAP-ENV="http://www.w3.org/2003/05/soap-envelope" xmlns:tds="http://www.onvif.org/ver10/device/wsdl" xmlns:tt="http://www.onvif.org/ver10/schema">` +
	`<SOAP-ENV:Body><tds:GetSystemDateAndTimeResponse><tds:SystemDateAndTime><tt:DateTimeType>NTP</tt:DateTimeType><tt:DaylightSavings>false</tt:DaylightSavings><tt:TimeZone><tt:TZ>GMT0</tt:TZ></tt:TimeZone>` +
	`<tt:UTCDateTime><tt:Time><tt:Hour>%d</tt:Hour><tt:Minute>%d</tt:Minute><tt:Second>%d</tt:Second></tt:Time><tt:Date><tt:Year>%d</tt:Year><tt:Month>%d</tt:Month><tt:Day>%d</tt:Day></tt:Date></tt:UTCDateTime>` +
	`</tds:SystemDateAndTime></tds:GetSystemDateAndTimeResponse></SOAP-ENV:Body></SOAP-ENV:Envelope>`

func TestONVIFTime(t *testing.T) {
	answer := func(at time.Time) string {
		at = at.UTC()
		return fmt.Sprintf(onvifAnswer, at.Hour(), at.Minute(), at.Second(), at.Year(), at.Month(), at.Day())
	}
	var reply func() (int, string)
	camera := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, err := io.ReadAll(r.Body)
		if err != nil || r.Method != http.MethodPost || r.URL.Path != "/onvif/device_service" ||
			!strings.Contains(string(b), `<GetSystemDateAndTime xmlns="http://www.onvif.org/ver10/device/wsdl"/>`) ||
			!strings.HasPrefix(r.Header.Get("Content-Type"), "application/soap+xml") || strings.Contains(string(b), "Security") ||
			r.Header.Get("Authorization") != "" {
			t.Errorf("request %s %s %v: %s", r.Method, r.URL, r.Header, b)
		}
		status, text := reply()
		w.WriteHeader(status)
		fmt.Fprint(w, text)
	}))
	defer camera.Close()

	reply = func() (int, string) { return 200, answer(time.Now().Add(-7 * time.Hour)) }
	got, err := reach.ONVIFTime(t.Context(), address(camera))
	if err != nil {
		t.Fatal(err)
	}
	within(t, got, -7*time.Hour, 3*time.Second)

	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for name, test := range map[string]struct {
		status int
		text   string
		want   error
	}{
		"wants a login":    {401, "", reach.ErrRefused},
		"no such page":     {404, "", reach.ErrNotOffered},
		"a fault":          {400, "<Envelope/>", reach.ErrNotOffered},
		"a web page":       {200, "<html><body>camera</body></html>", reach.ErrNotOffered},
		"hour 25":          {200, strings.Replace(answer(noon), "<tt:Hour>12<", "<tt:Hour>25<", 1), reach.ErrNotOffered},
		"no year":          {200, strings.Replace(answer(noon), "tt:Year>", "tt:Jahr>", 2), reach.ErrNotOffered},
		"year 1":           {200, strings.Replace(answer(noon), "<tt:Year>2026<", "<tt:Year>1<", 1), reach.ErrNotOffered},
		"a huge number":    {200, strings.Replace(answer(noon), "<tt:Day>2<", "<tt:Day>99999999999999999999<", 1), reach.ErrNotOffered},
		"more than 64 KiB": {200, strings.Replace(answer(noon), "<SOAP-ENV:Body>", "<SOAP-ENV:Body>"+strings.Repeat(" ", 64<<10), 1), reach.ErrNotOffered},
	} {
		reply = func() (int, string) { return test.status, test.text }
		if got, err := reach.ONVIFTime(t.Context(), address(camera)); !errors.Is(err, test.want) {
			t.Errorf("%s: %+v, error %v; want %v", name, got, err, test.want)
		}
	}
}
