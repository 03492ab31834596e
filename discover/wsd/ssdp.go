package wsd

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"slices"
	"time"
)

// A Root is what one root device answers to an SSDP search.
type Root struct {
	USN      string // its lasting name, "uuid:…::upnp:rootdevice"
	Location string // URL of its description, as claimed
	Server   string // system and product, as claimed

	// From is where the answer came from: the fact to trust.
	From netip.Addr
	Seen time.Time
}

// A SearchResult is what a Search found. The caller owns it.
type SearchResult struct {
	Roots []Root // by From, then USN
	Counts
}

// searchText is an SSDP search. MAN keeps its quotes; without MX a device must
// not answer. Only root devices are asked for, since ssdp:all brings dozens of
// answers from each.
const searchText = "M-SEARCH * HTTP/1.1\r\n" +
	"HOST: 239.255.255.250:1900\r\n" +
	"MAN: \"ssdp:discover\"\r\n" +
	"MX: 3\r\n" +
	"ST: upnp:rootdevice\r\n\r\n"

var searchGroup = netip.MustParseAddrPort("239.255.255.250:1900")

// Search asks for the root devices on the interface named iface by SSDP. It
// returns within a second after ctx ended. A Window below 3 s misses the
// devices that wait as long as they may.
func Search(ctx context.Context, iface string, opts Options) SearchResult {
	found := make(map[identity]Root)
	kept := bounds{most: cmp.Or(opts.Most, defaultMost)}
	counts := exchange(ctx, iface, question{group: searchGroup, ttl: 2, packet: []byte(searchText)}, opts,
		func(b []byte, from netip.Addr, now time.Time) error {
			root, err := parseRoot(b)
			if err != nil {
				return err
			}
			key := identity{from, root.USN}
			if _, known := found[key]; known || !kept.take(from) {
				return nil
			}
			root.From, root.Seen = from, now
			found[key] = root
			return nil
		})
	counts.finish(len(found), kept.overflow)
	r := SearchResult{Counts: counts}
	for _, root := range found {
		r.Roots = append(r.Roots, root)
	}
	slices.SortFunc(r.Roots, func(a, b Root) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.USN, b.USN))
	})
	return r
}

// parseRoot decodes an answer to searchText.
func parseRoot(b []byte) (Root, error) {
	resp, err := http.ReadResponse(bufio.NewReader(bytes.NewReader(b)), nil)
	if err != nil {
		return Root{}, fmt.Errorf("SSDP answer: %w", err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return Root{}, fmt.Errorf("SSDP answer: status %d", resp.StatusCode)
	}
	if resp.Header.Get("ST") != "upnp:rootdevice" {
		return Root{}, errUnrelated
	}
	root := Root{USN: short(resp.Header.Get("USN")), Location: short(resp.Header.Get("Location")), Server: short(resp.Header.Get("Server"))}
	if root.USN == "" {
		return Root{}, errors.New("SSDP answer: no USN")
	}
	return root, nil
}
