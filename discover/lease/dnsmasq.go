package lease

import (
	"encoding/hex"
	"net/netip"
	"strconv"
	"strings"
	"time"
)

// isDnsmasq reports whether a line is a lease of dnsmasq, or the server's DUID
// that heads its IPv6 leases.
func isDnsmasq(line string) bool {
	f := strings.Fields(line)
	if len(f) == 2 && f[0] == "duid" {
		return true
	}
	if len(f) < 4 {
		return false
	}
	_, timeErr := strconv.ParseInt(f[0], 10, 64)
	_, addrErr := netip.ParseAddr(f[2])
	return timeErr == nil && addrErr == nil
}

// readDnsmasq reads lines of expiry (Unix seconds, 0: never), MAC, address, name
// and client id, where "*" stands for none. For IPv6 the MAC's place holds the
// IAID, and the client id is the DUID.
func (k *book) readDnsmasq(text string) {
	for line := range strings.Lines(text) {
		f := strings.Fields(line)
		if len(f) == 0 || len(f) == 2 && f[0] == "duid" {
			continue
		}
		if !isDnsmasq(line) || !strings.HasSuffix(line, "\n") {
			k.malformed++
			continue
		}
		expiry, err := strconv.ParseInt(f[0], 10, 64)
		if err != nil || expiry < 0 || expiry > 1<<40 {
			k.malformed++
			continue
		}
		l := Lease{Addr: netip.MustParseAddr(f[2])}
		if expiry != 0 {
			l.Expires = time.Unix(expiry, 0).UTC()
		}
		if f[3] != "*" {
			l.Name = f[3]
		}
		if l.Addr.Is4() {
			l.MAC = parseMAC(f[1]) // another hardware type stands before a dash
		} else if len(f) > 4 {
			l.MAC = duidMAC(octets(f[4]))
		}
		k.put(l)
	}
}

// octets reads hexadecimal octets with colons between; nil if it is none.
func octets(s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, ":", ""))
	if err != nil {
		return nil
	}
	return b
}
