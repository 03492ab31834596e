package wsd

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

const cameraAddress = "203.0.113.131"

func wire(t *testing.T) (near, far *netns.Namespace) {
	t.Helper()
	near, far = netns.New(t), netns.New(t)
	netns.Veth(near, "eth0", far, "eth0")
	near.Address("eth0", netip.MustParsePrefix("203.0.113.5/24"))
	far.Address("eth0", netip.MustParsePrefix(cameraAddress+"/24"))
	return near, far
}

// between returns the text between two marks.
func between(s, from, to string) string {
	_, s, _ = strings.Cut(s, from)
	s, _, _ = strings.Cut(s, to)
	return s
}

func TestProbe(t *testing.T) {
	t.Parallel()
	near, far := wire(t)
	far.Respond("eth0", probeGroup, func(q string) []string {
		good := strings.Replace(match, ">ID<", ">"+between(q, "<a:MessageID>", "<")+"<", 1)
		return []string{"garbage", match, good, good}
	})
	var got ProbeResult
	near.Do(func() { got = Probe(t.Context(), "eth0", Options{Window: time.Second}) })
	if got.End != "complete" || got.Sent != 2 || got.Malformed != 2 || got.Unrelated != 2 {
		t.Errorf("%+v; want complete, 2 sent, each with one malformed and one unrelated answer", got.Counts)
	}
	if len(got.Cameras) != 1 || got.Cameras[0].From.String() != cameraAddress || got.Cameras[0].Name != "Slip camera" {
		t.Errorf("cameras %+v", got.Cameras)
	}
	near.Do(func() {
		got = Probe(t.Context(), "eth0", Options{Window: time.Second, Ignore: []netip.Prefix{netip.MustParsePrefix("203.0.113.128/26")}})
	})
	if got.End != "no-answer" || got.Ignored != 8 || len(got.Cameras) != 0 {
		t.Errorf("%+v with %d cameras; want 8 ignored datagrams", got.Counts, len(got.Cameras))
	}
}

// A real responder: Debian's wsdd, which is a computer and no camera. It must
// answer a probe for computers and stay silent to one for cameras.
func TestProbeAgainstDaemon(t *testing.T) {
	t.Parallel()
	netns.Need(t, "wsdd")
	near, far := wire(t)
	far.Start("wsdd", "--interface", "eth0", "--ipv4only", "--hostname", "slip-nas", "--uuid", "00000000-0000-1000-8000-00005e005332")
	var got ProbeResult
	for range 20 { // it is not up at once
		near.Do(func() { got = probe(t.Context(), "eth0", "wsdp:Device", Options{Window: time.Second}) })
		if got.End == "complete" {
			break
		}
	}
	if len(got.Cameras) != 1 || got.Malformed+got.Unrelated+got.Foreign != 0 {
		t.Fatalf("%+v, answers %+v", got.Counts, got.Cameras)
	}
	c := got.Cameras[0]
	if c.Endpoint != "urn:uuid:00000000-0000-1000-8000-00005e005332" || c.Types[0] != "Device" || c.From.String() != cameraAddress {
		t.Errorf("answer %+v", c)
	}
	near.Do(func() { got = Probe(t.Context(), "eth0", Options{Window: time.Second}) })
	if got.End != "no-answer" {
		t.Errorf("to a probe for cameras: %+v %+v", got.Counts, got.Cameras)
	}
}

func TestSearch(t *testing.T) {
	t.Parallel()
	near, far := wire(t)
	far.Respond("eth0", searchGroup, func(q string) []string {
		if !strings.HasPrefix(q, "M-SEARCH * HTTP/1.1\r\n") || !strings.Contains(q, "\r\nMX: 3\r\n") || !strings.Contains(q, "\r\nMAN: \"ssdp:discover\"\r\n") {
			return nil // as a device must
		}
		var out []string
		for i := range 30 { // more than one device may have
			out = append(out, fmt.Sprintf("HTTP/1.1 200 OK\r\nST: upnp:rootdevice\r\nUSN: uuid:%02d\r\nSERVER: x\r\nLOCATION: http://%s/d.xml\r\n\r\n", i, cameraAddress))
		}
		return append(out, "garbage")
	})
	var got SearchResult
	near.Do(func() { got = Search(t.Context(), "eth0", Options{Window: time.Second}) })
	if len(got.Roots) != mostOfOne || got.Overflow != 30-mostOfOne || got.Malformed != 1 || got.End != "partial" || got.Sent != 1 {
		t.Errorf("%d roots, %+v; want %d, partial", len(got.Roots), got.Counts, mostOfOne)
	}
	if r := got.Roots[0]; r.USN != "uuid:00" || r.From.String() != cameraAddress || r.Server != "x" {
		t.Errorf("root %+v", r)
	}
}

func TestEndings(t *testing.T) {
	t.Parallel()
	near, _ := wire(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	when := time.Now()
	var got ProbeResult
	near.Do(func() { got = Probe(ctx, "eth0", Options{Window: time.Hour}) })
	if got.End != "partial" || !strings.Contains(got.Why, "canceled") {
		t.Errorf("cancelled: %+v", got.Counts)
	}
	if took := time.Since(when); took > time.Second {
		t.Errorf("ended %v after it was cancelled, want within a second", took)
	}
	var none SearchResult
	near.Do(func() { none = Search(t.Context(), "eth0", Options{Window: time.Millisecond}) })
	if none.End != "no-answer" {
		t.Errorf("nobody there: %+v", none.Counts)
	}
	near.Exec("ip", "link", "set", "eth0", "down")
	near.Do(func() { none = Search(t.Context(), "eth0", Options{}) })
	if none.End != "skipped" || !strings.Contains(none.Why, "down") {
		t.Errorf("down: %+v", none.Counts)
	}
}

func TestDescribe(t *testing.T) {
	const good = `<?xml version="1.0"?><root xmlns="urn:schemas-upnp-org:device-1-0"><device><friendlyName> Slip camera </friendlyName>` +
		`<manufacturer>Kittiwake</manufacturer><modelName>TQ</modelName><modelNumber>9</modelNumber><serialNumber>S1</serialNumber><UDN>uuid:42</UDN></device></root>`
	asked := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		switch r.URL.Path {
		case "/d.xml":
			fmt.Fprint(w, good)
		case "/big":
			fmt.Fprint(w, strings.Repeat(" ", describeSize), good)
		case "/moved":
			http.Redirect(w, r, "/d.xml", http.StatusFound)
		case "/page":
			fmt.Fprint(w, "<html>")
		}
	}))
	defer server.Close()
	at := netip.MustParseAddr("127.0.0.1")
	got, err := Describe(t.Context(), Root{From: at, Location: server.URL + "/d.xml"})
	want := Description{FriendlyName: "Slip camera", Manufacturer: "Kittiwake", ModelName: "TQ", ModelNumber: "9", SerialNumber: "S1", UDN: "uuid:42"}
	if err != nil || got != want {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
	for _, path := range []string{"/big", "/moved", "/page"} {
		if _, err := Describe(t.Context(), Root{From: at, Location: server.URL + path}); err == nil || errors.Is(err, ErrElsewhere) {
			t.Errorf("%s: error %v", path, err)
		}
	}
	asked = 0
	for _, location := range []string{
		"http://203.0.113.9/d.xml", "https://127.0.0.1/d.xml", "file:///etc/hostname", "http://localhost/d.xml", "http://127.0.0.1@203.0.113.9/",
		"http://u:p@127.0.0.1/", "", "::",
	} {
		if _, err := Describe(t.Context(), Root{From: at, Location: location}); err == nil {
			t.Errorf("%q was taken", location)
		}
	}
	if asked != 0 {
		t.Errorf("fetched %d times from a location elsewhere", asked)
	}
}
