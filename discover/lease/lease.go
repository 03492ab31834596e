// Package lease reads what DHCP servers keep of their leases, and asks which
// servers answer on a link.
//
// Read takes the lease files of dnsmasq, ISC dhcpd and Kea, and tells them
// apart by their content. Discover sends one DHCP discover and takes no lease.
// Names are as the clients sent them, not cleaned; lengths and counts are
// bounded.
package lease

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
	"time"
)

// A Lease is an address that a server has given to a client.
type Lease struct {
	Addr netip.Addr // IPv4 or IPv6

	// MAC is the client's; zero where neither it nor a DUID that holds it
	// (RFC 8415, section 11) is in the file.
	MAC [6]byte

	Name    string    // as the client or the server's settings have it; may be empty
	Expires time.Time // zero: never. It may have passed
}

// Options say how to read. The zero value works.
type Options struct {
	// Most bounds the leases kept; zero means 65,536.
	Most int
}

// A Result is what a lease file holds and how the reading ended. The caller
// owns it.
type Result struct {
	Leases    []Lease   // those in force or expired, by address, each once
	Server    string    // "dnsmasq", "isc" or "kea"; empty where it is not known
	Written   time.Time // when the file was last changed
	Malformed int       // entries that could not be read
	Overflow  int       // entries not kept since a bound was reached

	// End is complete, partial (malformed entries, or a bound reached), refused
	// (no right to read) or no-answer (no such file, or no lease file).
	End string
	Why string // says more, unless End is complete
}

const (
	defaultMost = 1 << 16
	largestFile = 32 << 20 // octets
	longestName = 255      // octets, as in DNS
	never       = 0xffffffff
)

// errFormat is returned for a file of none of the servers.
var errFormat = errors.New("no lease file of dnsmasq, ISC dhcpd or Kea")

// Read reads the lease file at path. A server may be writing to it: a last
// entry that is cut off counts as malformed.
func Read(path string, opts Options) Result {
	b, written, err := load(path)
	if err != nil {
		end := "no-answer"
		if errors.Is(err, fs.ErrPermission) {
			end = "refused"
		}
		return Result{Written: written, End: end, Why: err.Error()}
	}
	r := parse(b, cmp.Or(opts.Most, defaultMost))
	r.Written = written
	if r.Why != "" {
		r.Why = path + ": " + r.Why
	}
	return r
}

func load(path string) ([]byte, time.Time, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, time.Time{}, err
	}
	if !info.Mode().IsRegular() { // a pipe would wait for ever
		return nil, time.Time{}, fmt.Errorf("%s is no regular file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, time.Time{}, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, largestFile+1))
	if err == nil && len(b) > largestFile {
		err = fmt.Errorf("%s: larger than %d MiB", path, largestFile>>20)
	}
	return b, info.ModTime(), err
}

// book collects leases: the last entry of an address is the one in force.
type book struct {
	most      int
	leases    map[netip.Addr]Lease
	malformed int
	overflow  int
}

func (k *book) put(l Lease) {
	if _, known := k.leases[l.Addr]; !known && len(k.leases) >= k.most {
		k.overflow++
		return
	}
	l.Name = l.Name[:min(len(l.Name), longestName)]
	k.leases[l.Addr] = l
}

// parse tells the server by the content and reads its leases.
func parse(b []byte, most int) Result {
	k := &book{most: most, leases: make(map[netip.Addr]Lease)}
	var r Result
	switch first, _, _ := bytes.Cut(b, []byte("\n")); {
	case len(bytes.TrimSpace(b)) == 0: // a new dnsmasq or dhcpd
		r.End = "complete"
		return r
	case bytes.HasPrefix(first, []byte("address,")):
		r.Server = "kea"
		k.readKea(string(b))
	case isDnsmasq(string(first)):
		r.Server = "dnsmasq"
		k.readDnsmasq(string(b))
	case isISC(b):
		r.Server = "isc"
		k.readISC(string(b))
	default:
		return Result{End: "no-answer", Why: errFormat.Error()}
	}
	for _, l := range k.leases {
		r.Leases = append(r.Leases, l)
	}
	slices.SortFunc(r.Leases, func(a, b Lease) int { return a.Addr.Compare(b.Addr) })
	r.Malformed, r.Overflow = k.malformed, k.overflow
	r.End = "complete"
	var why []string
	if r.Malformed > 0 {
		why = append(why, fmt.Sprintf("entries that could not be read: %d", r.Malformed))
	}
	if r.Overflow > 0 {
		why = append(why, fmt.Sprintf("entries beyond the bound of %d leases: %d", most, r.Overflow))
	}
	if len(why) > 0 {
		r.End, r.Why = "partial", strings.Join(why, "; ")
	}
	return r
}

// parseMAC reads a MAC of six octets; anything else is zero.
func parseMAC(s string) [6]byte {
	if hw, err := net.ParseMAC(s); err == nil && len(hw) == 6 {
		return [6]byte(hw)
	}
	return [6]byte{}
}

// duidMAC returns the MAC in a DUID of the types that hold one: link-layer with
// time (1) and without (3), both with a hardware type, where Ethernet is 1 (RFC
// 8415, sections 11.2 and 11.4).
func duidMAC(duid []byte) [6]byte {
	switch {
	case len(duid) == 14 && bytes.HasPrefix(duid, []byte{0, 1, 0, 1}):
		return [6]byte(duid[8:])
	case len(duid) == 10 && bytes.HasPrefix(duid, []byte{0, 3, 0, 1}):
		return [6]byte(duid[4:])
	}
	return [6]byte{}
}
