package wsd

import (
	"encoding/xml"
	"errors"
	"fmt"
	"net/url"
	"strings"

	"github.com/google/uuid"
)

// probeText is a Probe in the namespaces of April 2005 that wants its MessageID
// and Types. The prefixes of all types that are asked for are declared: some
// devices reject a probe that forgets it.
const probeText = `<?xml version="1.0" encoding="UTF-8"?>` +
	`<s:Envelope xmlns:s="http://www.w3.org/2003/05/soap-envelope" xmlns:a="http://schemas.xmlsoap.org/ws/2004/08/addressing"` +
	` xmlns:d="http://schemas.xmlsoap.org/ws/2005/04/discovery" xmlns:dn="http://www.onvif.org/ver10/network/wsdl">` +
	`<s:Header><a:Action>http://schemas.xmlsoap.org/ws/2005/04/discovery/Probe</a:Action><a:MessageID>%s</a:MessageID>` +
	`<a:To>urn:schemas-xmlsoap-org:ws:2005:04:discovery</a:To></s:Header>` +
	`<s:Body><d:Probe><d:Types>%s</d:Types></d:Probe></s:Body></s:Envelope>`

// newProbe returns a probe for types, and its message id.
func newProbe(types string) (id string, packet []byte) {
	id = "urn:uuid:" + uuid.NewString()
	return id, fmt.Appendf(nil, probeText, id, types)
}

// envelope is what is read of an answer. Names are matched without their
// namespaces: devices are not exact with them.
type envelope struct {
	XMLName   xml.Name `xml:"Envelope"`
	RelatesTo string   `xml:"Header>RelatesTo"`
	Body      struct {
		Matches *struct {
			Match []struct {
				Endpoint string `xml:"EndpointReference>Address"`
				Types    string `xml:"Types"`
				Scopes   string `xml:"Scopes"`
				XAddrs   string `xml:"XAddrs"`
			} `xml:"ProbeMatch"`
		} `xml:"ProbeMatches"`
	} `xml:"Body"`
}

// parseMatches decodes a ProbeMatches message that answers the probe with the
// id given. Matches without an endpoint are left out.
func parseMatches(b []byte, id string) ([]Camera, error) {
	var e envelope
	if err := xml.Unmarshal(b, &e); err != nil {
		return nil, fmt.Errorf("probe match: %w", err)
	}
	if e.Body.Matches == nil {
		return nil, errors.New("probe match: none in the message")
	}
	if strings.TrimSpace(e.RelatesTo) != id {
		return nil, errUnrelated
	}
	var out []Camera
	for _, m := range e.Body.Matches.Match {
		c := Camera{
			Endpoint: short(strings.TrimSpace(m.Endpoint)),
			Types:    list(m.Types),
			Scopes:   list(m.Scopes),
			XAddrs:   list(m.XAddrs),
		}
		if c.Endpoint == "" || len(out) >= mostOfOne {
			continue
		}
		for i, t := range c.Types {
			if _, local, prefixed := strings.Cut(t, ":"); prefixed {
				c.Types[i] = local
			}
		}
		c.readScopes()
		out = append(out, c)
	}
	return out, nil
}

// readScopes takes the first name, hardware, location and MAC of the scopes
// onvif://www.onvif.org/….
func (c *Camera) readScopes() {
	for _, s := range c.Scopes {
		rest, ok := strings.CutPrefix(s, "onvif://www.onvif.org/")
		if !ok {
			continue
		}
		kind, value, _ := strings.Cut(rest, "/")
		if decoded, err := url.PathUnescape(value); err == nil {
			value = decoded
		}
		for name, field := range map[string]*string{"name": &c.Name, "hardware": &c.Hardware, "location": &c.Location, "mac": &c.MAC} {
			if strings.EqualFold(kind, name) && *field == "" {
				*field = value
			}
		}
	}
}

// list splits at white space, within bounds.
func list(s string) []string {
	fields := strings.Fields(s)
	fields = fields[:min(len(fields), mostList)]
	for i, f := range fields {
		fields[i] = short(f)
	}
	return fields
}

func short(s string) string { return s[:min(len(s), longestText)] }
