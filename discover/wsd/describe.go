package wsd

import (
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"time"
)

// A Description is what a root device says of itself (UPnP Device
// Architecture). It is text from a stranger, not cleaned.
type Description struct {
	FriendlyName string `xml:"device>friendlyName"`
	Manufacturer string `xml:"device>manufacturer"`
	ModelName    string `xml:"device>modelName"`
	ModelNumber  string `xml:"device>modelNumber"`
	SerialNumber string `xml:"device>serialNumber"`
	UDN          string `xml:"device>UDN"`
}

// ErrElsewhere is returned for a Location that is not on the device itself.
// Nothing was fetched then.
var ErrElsewhere = errors.New("location is not on the device that names it")

const (
	describeTime       = 3 * time.Second
	describeSize       = 64 << 10
	longestDescription = 256 // octets of each text
)

// Describe fetches the description of r with one HTTP GET, without redirects
// or proxy. It fetches only from the address that r answered from, within 3 s
// and 64 KiB.
func Describe(ctx context.Context, r Root) (Description, error) {
	u, err := url.Parse(r.Location)
	if err != nil {
		return Description{}, fmt.Errorf("describe %s: %w", r.From, err)
	}
	host, err := netip.ParseAddr(u.Hostname())
	if err != nil || host != r.From || u.Scheme != "http" || u.User != nil {
		return Description{}, fmt.Errorf("describe %s: %w: %.100q", r.From, ErrElsewhere, r.Location)
	}
	ctx, cancel := context.WithTimeout(ctx, describeTime)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return Description{}, fmt.Errorf("describe %s: %w", r.From, err)
	}
	transport := &http.Transport{DisableKeepAlives: true, MaxResponseHeaderBytes: 16 << 10}
	defer transport.CloseIdleConnections()
	resp, err := transport.RoundTrip(req) // follows nothing, knows no proxy
	if err != nil {
		return Description{}, fmt.Errorf("describe %s: %w", r.From, err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return Description{}, fmt.Errorf("describe %s: status %d", r.From, resp.StatusCode)
	}
	b, err := io.ReadAll(io.LimitReader(resp.Body, describeSize+1))
	if err != nil {
		return Description{}, fmt.Errorf("describe %s: %w", r.From, err)
	}
	if len(b) > describeSize {
		return Description{}, fmt.Errorf("describe %s: larger than %d KiB", r.From, describeSize>>10)
	}
	d, err := parseDescription(b)
	if err != nil {
		return Description{}, fmt.Errorf("describe %s: %w", r.From, err)
	}
	return d, nil
}

func parseDescription(b []byte) (Description, error) {
	var root struct {
		XMLName xml.Name `xml:"root"`
		Description
	}
	if err := xml.Unmarshal(b, &root); err != nil {
		return Description{}, err
	}
	d := root.Description
	for _, field := range []*string{&d.FriendlyName, &d.Manufacturer, &d.ModelName, &d.ModelNumber, &d.SerialNumber, &d.UDN} {
		*field = strings.TrimSpace(*field)
		*field = (*field)[:min(len(*field), longestDescription)]
	}
	return d, nil
}
