package wsd

import (
	"encoding/xml"
	"errors"
	"net/netip"
	"reflect"
	"strings"
	"testing"
)

// match is a ProbeMatches message laid out as in WS-Discovery (April 2005),
// section 5.3, with the types and scopes of the ONVIF core specification.
const match = `<?xml version="1.0" encoding="utf-8"?>
<SOAP-ENV:Envelope xmlns:SOAP-ENV="http://www.w3.org/2003/05/soap-envelope" xmlns:wsa="http://schemas.xmlsoap.org/ws/2004/08/addressing" xmlns:d="http://schemas.xmlsoap.org/ws/2005/04/discovery" xmlns:dn="http://www.onvif.org/ver10/network/wsdl" xmlns:tds="http://www.onvif.org/ver10/device/wsdl">
<SOAP-ENV:Header><wsa:MessageID>uuid:1</wsa:MessageID><wsa:RelatesTo>ID</wsa:RelatesTo>
<wsa:To>http://schemas.xmlsoap.org/ws/2004/08/addressing/role/anonymous</wsa:To>
<wsa:Action>http://schemas.xmlsoap.org/ws/2005/04/discovery/ProbeMatches</wsa:Action></SOAP-ENV:Header>
<SOAP-ENV:Body><d:ProbeMatches><d:ProbeMatch>
<wsa:EndpointReference><wsa:Address> urn:uuid:00000000-0000-1000-8000-00005e005331 </wsa:Address></wsa:EndpointReference>
<d:Types>dn:NetworkVideoTransmitter tds:Device</d:Types>
<d:Scopes>onvif://www.onvif.org/type/video_encoder onvif://www.onvif.org/name/Slip%20camera onvif://www.onvif.org/hardware/TQ-9
 onvif://www.onvif.org/location/Slip%2F1 onvif://www.onvif.org/MAC/00:00:5e:00:53:31 onvif://www.onvif.org/name/second http://example.com/x</d:Scopes>
<d:XAddrs>http://203.0.113.131/onvif/device_service http://192.0.2.10/onvif/device_service</d:XAddrs>
<d:MetadataVersion>10</d:MetadataVersion></d:ProbeMatch></d:ProbeMatches></SOAP-ENV:Body></SOAP-ENV:Envelope>`

func TestParseMatches(t *testing.T) {
	const id = "urn:uuid:42"
	good := strings.Replace(match, ">ID<", ">"+id+"<", 1)
	camera := Camera{
		Endpoint: "urn:uuid:00000000-0000-1000-8000-00005e005331",
		Types:    []string{"NetworkVideoTransmitter", "Device"},
		Scopes: []string{"onvif://www.onvif.org/type/video_encoder", "onvif://www.onvif.org/name/Slip%20camera", "onvif://www.onvif.org/hardware/TQ-9",
			"onvif://www.onvif.org/location/Slip%2F1", "onvif://www.onvif.org/MAC/00:00:5e:00:53:31", "onvif://www.onvif.org/name/second", "http://example.com/x"},
		XAddrs: []string{"http://203.0.113.131/onvif/device_service", "http://192.0.2.10/onvif/device_service"},
		Name:   "Slip camera", Hardware: "TQ-9", Location: "Slip/1", MAC: "00:00:5e:00:53:31",
	}
	tests := map[string]struct {
		text      string
		want      []Camera
		bad       bool
		unrelated bool
	}{
		"a camera":                    {text: good, want: []Camera{camera}},
		"other prefixes":              {text: strings.NewReplacer("SOAP-ENV:", "", "xmlns:SOAP-ENV=", "xmlns=").Replace(good), want: []Camera{camera}},
		"answers another probe":       {text: match, bad: true, unrelated: true},
		"no endpoint":                 {text: strings.Replace(good, "urn:uuid:00000000-0000-1000-8000-00005e005331", "", 1)},
		"cut":                         {text: good[:len(good)-30], bad: true},
		"another message":             {text: strings.ReplaceAll(good, "ProbeMatches>", "ResolveMatches>"), bad: true},
		"no XML":                      {text: "HTTP/1.1 200 OK\r\n\r\n", bad: true},
		"nothing":                     {bad: true},
		"nested deeper than it is so": {text: strings.Repeat("<a>", 20_000), bad: true},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := parseMatches([]byte(test.text), id)
			if (err != nil) != test.bad || errors.Is(err, errUnrelated) != test.unrelated {
				t.Fatalf("error %v; want one: %v, unrelated: %v", err, test.bad, test.unrelated)
			}
			if !reflect.DeepEqual(got, test.want) {
				t.Errorf("got  %+v\nwant %+v", got, test.want)
			}
		})
	}
}

func TestMatchBounds(t *testing.T) {
	one := `<ProbeMatch><EndpointReference><Address>` + strings.Repeat("e", 9000) + `</Address></EndpointReference><Scopes>` + strings.Repeat("x ",
		5000) + `</Scopes></ProbeMatch>`
	got, err := parseMatches([]byte(`<Envelope><Header><RelatesTo>1</RelatesTo></Header><Body><ProbeMatches>`+strings.Repeat(one,
		40)+`</ProbeMatches></Body></Envelope>`), "1")
	if err != nil || len(got) != mostOfOne || len(got[0].Scopes) != mostList || len(got[0].Endpoint) != longestText {
		t.Errorf("error %v, %d matches; want them bounded", err, len(got))
	}
}

// The probe is well-formed and names what WS-Discovery (April 2005) and ONVIF
// ask for, in their namespaces.
func TestProbePacket(t *testing.T) {
	id, packet := newProbe(cameraType)
	var got struct {
		XMLName xml.Name `xml:"http://www.w3.org/2003/05/soap-envelope Envelope"`
		Header  struct {
			Action    string `xml:"http://schemas.xmlsoap.org/ws/2004/08/addressing Action"`
			MessageID string `xml:"http://schemas.xmlsoap.org/ws/2004/08/addressing MessageID"`
			To        string `xml:"http://schemas.xmlsoap.org/ws/2004/08/addressing To"`
		} `xml:"http://www.w3.org/2003/05/soap-envelope Header"`
		Body struct {
			Probe struct {
				Types string `xml:"http://schemas.xmlsoap.org/ws/2005/04/discovery Types"`
			} `xml:"http://schemas.xmlsoap.org/ws/2005/04/discovery Probe"`
		} `xml:"http://www.w3.org/2003/05/soap-envelope Body"`
	}
	if err := xml.Unmarshal(packet, &got); err != nil {
		t.Fatal(err)
	}
	if got.Header.Action != "http://schemas.xmlsoap.org/ws/2005/04/discovery/Probe" || got.Header.To != "urn:schemas-xmlsoap-org:ws:2005:04:discovery" ||
		got.Header.MessageID != id || got.Body.Probe.Types != "dn:NetworkVideoTransmitter" {
		t.Errorf("got %+v", got)
	}
	if !strings.Contains(string(packet), `xmlns:dn="http://www.onvif.org/ver10/network/wsdl"`) {
		t.Error("the prefix dn is not declared")
	}
	if again, _ := newProbe(cameraType); again == id {
		t.Error("two probes have one id")
	}
}

func TestParseRoot(t *testing.T) {
	good := "HTTP/1.1 200 OK\r\nCACHE-CONTROL: max-age=1800\r\nEXT:\r\nLOCATION: http://203.0.113.131:49152/d.xml\r\nSERVER: x/1 UPnP/1.0 y/2\r\nST: upnp:rootdevice\r\nUSN: uuid:42::upnp:rootdevice\r\n\r\n"
	tests := map[string]struct {
		text string
		want Root
		bad  bool
	}{
		"a root device": {text: good, want: Root{USN: "uuid:42::upnp:rootdevice", Location: "http://203.0.113.131:49152/d.xml",
			Server: "x/1 UPnP/1.0 y/2"}},
		"an advertisement":      {text: strings.Replace(good, "HTTP/1.1 200 OK", "NOTIFY * HTTP/1.1", 1), bad: true},
		"another search's":      {text: strings.Replace(good, "ST: upnp:rootdevice", "ST: ssdp:all", 1), bad: true},
		"no name":               {text: strings.Replace(good, "USN:", "X:", 1), bad: true},
		"an error":              {text: strings.Replace(good, "200 OK", "500 No", 1), bad: true},
		"without its last line": {text: good[:len(good)-2], bad: true},
		"garbage":               {text: "\x00\xff", bad: true},
		"a very long name is cut": {text: strings.Replace(good, "uuid:42", strings.Repeat("u", 9000), 1),
			want: Root{USN: strings.Repeat("u", longestText), Location: "http://203.0.113.131:49152/d.xml", Server: "x/1 UPnP/1.0 y/2"}},
		"nothing":                {bad: true},
		"a negative body length": {text: strings.Replace(good, "EXT:", "Content-Length: -1", 1), bad: true},
		"a body that never arrives": {text: strings.Replace(good, "EXT:", "Content-Length: 9", 1),
			want: Root{USN: "uuid:42::upnp:rootdevice", Location: "http://203.0.113.131:49152/d.xml", Server: "x/1 UPnP/1.0 y/2"}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := parseRoot([]byte(test.text))
			if (err != nil) != test.bad || got != test.want {
				t.Errorf("got %+v, %v\nwant %+v, an error: %v", got, err, test.want, test.bad)
			}
		})
	}
}

func TestBounds(t *testing.T) {
	b := bounds{most: 20}
	one, two := netip.MustParseAddr("203.0.113.1"), netip.MustParseAddr("203.0.113.2")
	for range 100 {
		b.take(one)
	}
	got := 0
	for range 100 {
		if b.take(two) {
			got++
		}
	}
	if b.of[one] != mostOfOne || got != 20-mostOfOne || b.overflow != 180 {
		t.Errorf("%d of the first, %d of the second, %d over", b.of[one], got, b.overflow)
	}
}

func FuzzParseMatches(f *testing.F) {
	f.Add([]byte(strings.Replace(match, ">ID<", ">1<", 1)))
	f.Add([]byte("<Envelope><Header><RelatesTo>1</RelatesTo></Header><Body><ProbeMatches><ProbeMatch/></ProbeMatches></Body></Envelope>"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := parseMatches(b, "1")
		if err != nil && got != nil {
			t.Errorf("error %v with %+v", err, got)
		}
		for _, c := range got {
			if c.Endpoint == "" || len(c.Endpoint) > longestText || len(c.Scopes) > mostList {
				t.Errorf("kept %+v", c)
			}
		}
	})
}

func FuzzParseRoot(f *testing.F) {
	f.Add([]byte("HTTP/1.1 200 OK\r\nST: upnp:rootdevice\r\nUSN: uuid:42\r\n\r\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if got, err := parseRoot(b); err == nil && (got.USN == "" || len(got.USN) > longestText) {
			t.Errorf("kept %+v", got)
		}
	})
}

func FuzzParseDescription(f *testing.F) {
	f.Add([]byte(`<root xmlns="urn:schemas-upnp-org:device-1-0"><device><friendlyName>x</friendlyName></device></root>`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if got, err := parseDescription(b); err == nil && len(got.FriendlyName) > longestDescription {
			t.Errorf("kept %+v", got)
		}
	})
}
