package lease

import (
	"encoding/hex"
	"net/netip"
	"strconv"
	"strings"
	"time"
)

// readKea reads the CSV of Kea's memfile backend, IPv4 or IPv6, by the column
// names in its first line. A lifetime of zero takes a lease back; state 0 is
// the only one in force; in IPv6 a lease type of 2 is a prefix and no address.
func (k *book) readKea(text string) {
	columns := make(map[string]int)
	for line := range strings.Lines(text) {
		whole := strings.HasSuffix(line, "\n")
		f := strings.Split(strings.TrimRight(line, "\r\n"), ",")
		if len(columns) == 0 {
			for i, name := range f {
				columns[name] = i
			}
			continue
		}
		if len(f) == 1 && f[0] == "" {
			continue
		}
		field := func(name string) string {
			if i, ok := columns[name]; ok && i < len(f) {
				return f[i]
			}
			return ""
		}
		addr, err := netip.ParseAddr(field("address"))
		lifetime, err2 := strconv.ParseUint(field("valid_lifetime"), 10, 32)
		expire, err3 := strconv.ParseInt(field("expire"), 10, 41)
		if err != nil || err2 != nil || err3 != nil || !whole {
			k.malformed++
			continue
		}
		if field("lease_type") == "2" {
			continue
		}
		if state := field("state"); lifetime == 0 || state != "0" && state != "" {
			delete(k.leases, addr)
			continue
		}
		l := Lease{Addr: addr, MAC: parseMAC(field("hwaddr")), Name: unescapeKea(strings.TrimSuffix(field("hostname"), "."))}
		if l.MAC == ([6]byte{}) {
			l.MAC = duidMAC(octets(field("duid")))
		}
		if lifetime != never {
			l.Expires = time.Unix(expire, 0).UTC()
		}
		k.put(l)
	}
}

// unescapeKea undoes the "&#x2c" that Kea writes for a comma.
func unescapeKea(s string) string {
	parts := strings.Split(s, "&#x")
	for i, p := range parts[1:] {
		if b, err := hex.DecodeString(p[:min(2, len(p))]); err == nil && len(b) == 1 {
			parts[i+1] = string(b) + p[2:]
		} else {
			parts[i+1] = "&#x" + p
		}
	}
	return strings.Join(parts, "")
}
