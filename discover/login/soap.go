package login

import (
	"bytes"
	"crypto/sha1"
	"encoding/base64"
	"encoding/xml"
	"strings"
	"time"
)

// The names of ONVIF's device service are from memory; those of the
// UsernameToken are of the OASIS Web Services Security profile.
const (
	envelopeNS = "http://www.w3.org/2003/05/soap-envelope"
	deviceNS   = "http://www.onvif.org/ver10/device/wsdl"
	secextNS   = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-wssecurity-secext-1.0.xsd"
	utilityNS  = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-wssecurity-utility-1.0.xsd"
	digestType = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-username-token-profile-1.0#PasswordDigest"
	base64Type = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-soap-message-security-1.0#Base64Binary"
)

// envelope wraps a request of the device service that has no arguments.
func envelope(header, action string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><s:Envelope xmlns:s="` + envelopeNS + `">` + header +
		`<s:Body><` + action + ` xmlns="` + deviceNS + `"/></s:Body></s:Envelope>`
}

// usernameToken is the security header for a user at a moment of the device's clock.
func usernameToken(user, password string, nonce []byte, created string) string {
	var name strings.Builder
	xml.EscapeText(&name, []byte(user)) // a strings.Builder never fails
	return `<s:Header><wsse:Security s:mustUnderstand="1" xmlns:wsse="` + secextNS + `" xmlns:wsu="` + utilityNS + `">` +
		`<wsse:UsernameToken><wsse:Username>` + name.String() + `</wsse:Username>` +
		`<wsse:Password Type="` + digestType + `">` + passwordDigest(nonce, created, password) + `</wsse:Password>` +
		`<wsse:Nonce EncodingType="` + base64Type + `">` + base64.StdEncoding.EncodeToString(nonce) + `</wsse:Nonce>` +
		`<wsu:Created>` + created + `</wsu:Created></wsse:UsernameToken></wsse:Security></s:Header>`
}

// passwordDigest hashes the decoded nonce, not its Base64 text.
func passwordDigest(nonce []byte, created, password string) string {
	h := sha1.New()
	h.Write(nonce)
	h.Write([]byte(created + password))
	return base64.StdEncoding.EncodeToString(h.Sum(nil))
}

// soapAnswer is what a response says, its prefixes resolved.
type soapAnswer struct {
	body  xml.Name  // the first element in the Body; zero: not a SOAP answer
	codes []string  // a fault's codes and subcodes, without prefix
	clock time.Time // UTCDateTime of GetSystemDateAndTimeResponse; zero: none that makes sense
}

const mostDepth = 32

// parseSOAP reads a response of any version of SOAP. What is no XML, or nested
// deeper than any answer that is of use, gives what was read until there.
func parseSOAP(b []byte) soapAnswer {
	var a soapAnswer
	var at []string // local names from the root to here
	var text strings.Builder
	clock := map[string]int{}
	d := xml.NewDecoder(bytes.NewReader(b))
	for len(at) <= mostDepth {
		t, err := d.Token()
		if err != nil {
			break
		}
		switch t := t.(type) {
		case xml.StartElement:
			at = append(at, t.Name.Local)
			text.Reset()
			if len(at) == 3 && at[0] == "Envelope" && at[1] == "Body" && a.body.Local == "" {
				a.body = t.Name
			}
		case xml.CharData:
			if text.Len() < 128 {
				text.Write(t[:min(len(t), 128)])
			}
		case xml.EndElement:
			a.leaf(at, strings.TrimSpace(text.String()), clock)
			at = at[:len(at)-1]
			text.Reset()
		}
	}
	a.clock = clockOf(clock)
	return a
}

// leaf keeps the text of an element that is of use.
func (a *soapAnswer) leaf(at []string, text string, clock map[string]int) {
	if len(at) < 4 {
		return
	}
	name, parent := at[len(at)-1], at[len(at)-2]
	switch {
	case at[2] == "Fault" && (name == "Value" || name == "faultcode") && len(a.codes) < 8:
		a.codes = append(a.codes, text[strings.LastIndexByte(text, ':')+1:])
	case at[2] == "GetSystemDateAndTimeResponse" && len(at) >= 4 && at[len(at)-3] == "UTCDateTime" &&
		(parent == "Time" || parent == "Date"):
		if n, ok := number(text); ok {
			clock[name] = n
		}
	}
}

func number(s string) (int, bool) {
	if s == "" || len(s) > 4 {
		return 0, false
	}
	n := 0
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}

// clockOf is the moment that the six numbers name, zero where one is missing or out of range.
func clockOf(n map[string]int) time.Time {
	for _, f := range []struct {
		name     string
		min, max int
	}{{"Year", 1970, 2200}, {"Month", 1, 12}, {"Day", 1, 31}, {"Hour", 0, 23}, {"Minute", 0, 59}, {"Second", 0, 60}} {
		if v, ok := n[f.name]; !ok || v < f.min || v > f.max {
			return time.Time{}
		}
	}
	return time.Date(n["Year"], time.Month(n["Month"]), n["Day"], n["Hour"], n["Minute"], n["Second"], 0, time.UTC)
}
