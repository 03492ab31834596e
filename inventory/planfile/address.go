package planfile

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"boundwalk/inventory"
)

var (
	mac = textual("a MAC address", parseMAC, func(m inventory.MAC) string { return doubleQuoted(m.String()) },
		`^([0-9A-Fa-f]{2}([:-]?[0-9A-Fa-f]{2}){5}|[0-9A-Fa-f]{4}(\.[0-9A-Fa-f]{4}){2})$`)
	address   = textual("an address", parseAddr, writeAddr, `^[0-9A-Fa-f:.]+$`)
	subnet4   = textual("a subnet", func(s string) (netip.Prefix, error) { return parsePrefix(s, true) }, writePrefix, `^[0-9.]+/[0-9]+$`)
	subnet6   = textual("an IPv6 subnet", func(s string) (netip.Prefix, error) { return parsePrefix(s, false) }, writePrefix, `^[0-9A-Fa-f:.]+/[0-9]+$`)
	subnet    = textual("a subnet", parseAnyPrefix, writePrefix, `^[0-9A-Fa-f:.]+/[0-9]+$`)
	addrRange = textual("a range of addresses", parseRange, func(r inventory.AddrRange) string { return quoteColons(r.String()) }, `^[0-9A-Fa-f:.]+-[0-9A-Fa-f:.]+$`)
	agentAddr = textual("an address with a port", parseAgent, func(a netip.AddrPort) string { return quoteColons(a.String()) }, `:[0-9]+$`)
	portRef   = textual("a port of a device", parsePort, func(r inventory.PortRef) string { return plain(r.String()) }, `^[^\s/]+(/.+)?$`)
	hostPort  = textual("a host with a port", parseHostPort, plainOrQuoted, `:[0-9]+$`)
	server    = textual("a mail server", parseServer, plainOrQuoted, `^\S+$`)
	loopback  = textual("a loopback address with a port", parseLoopback, plainOrQuoted, `:[0-9]+$`)
	domain    = textual("a name to look up", parseDomain, plain, `^[A-Za-z0-9._-]+$`)
	webhook   = textual("an https address", parseWebhook, plainOrQuoted, `^https://`)
	mailbox   = textual("a mail address", parseMailbox, plain, `@`)
	path      = textual("a path", parsePath, plain, `^/`)
)

func parseMAC(s string) (inventory.MAC, error) {
	m, err := inventory.ParseMAC(s)
	switch {
	case err != nil:
		return m, fmt.Errorf("%s is no MAC address: write twelve hexadecimal digits, such as 00:00:5e:00:53:01", quoted(s))
	case !m.IsValid() || m.IsMulticast():
		return m, fmt.Errorf("%s is no device's address: it names nobody, or a group", quoted(s))
	}
	return m, nil
}

func parseAddr(s string) (netip.Addr, error) {
	a, err := netip.ParseAddr(s)
	switch {
	case err != nil && strings.Contains(s, "/"):
		return a, fmt.Errorf("%s is a subnet: write the address alone, such as 203.0.113.2", quoted(s))
	case err != nil:
		return a, fmt.Errorf("%s is no address: write one such as 203.0.113.2 (no leading zeros) or 2001:db8::2", quoted(s))
	case a.Zone() != "":
		return a, fmt.Errorf("%s has a zone, which means something on one machine only: write it without", quoted(s))
	case a.Is4In6():
		return a, fmt.Errorf("%s is an IPv4 address in IPv6 dress: write %s", quoted(s), a.Unmap())
	case a.IsUnspecified() || a.IsMulticast() || a == netip.AddrFrom4([4]byte{255, 255, 255, 255}):
		return a, fmt.Errorf("%s is no device's address", quoted(s))
	}
	return a, nil
}

func parseAnyPrefix(s string) (netip.Prefix, error) {
	p, err := netip.ParsePrefix(s)
	switch {
	case err != nil && !strings.Contains(s, "/"):
		return p, fmt.Errorf("%s is no subnet: its length is missing, as in 203.0.113.0/25", quoted(s))
	case err != nil:
		return p, fmt.Errorf("%s is no subnet: write one such as 203.0.113.0/25", quoted(s))
	case p.Addr().Is4In6():
		return p, fmt.Errorf("%s is an IPv4 subnet in IPv6 dress", quoted(s))
	case p != p.Masked():
		return p, fmt.Errorf("%s is an address within a subnet: the subnet is %s", quoted(s), p.Masked())
	}
	return p, nil
}

func parsePrefix(s string, four bool) (netip.Prefix, error) {
	p, err := parseAnyPrefix(s)
	switch {
	case err != nil:
		return p, err
	case four && !p.Addr().Is4():
		return p, fmt.Errorf("%s is no IPv4 subnet: IPv6 subnets stand under subnet6", quoted(s))
	case !four && p.Addr().Is4():
		return p, fmt.Errorf("%s is no IPv6 subnet: the IPv4 one stands under subnet", quoted(s))
	}
	return p, nil
}

func parseRange(s string) (inventory.AddrRange, error) {
	from, to, ok := strings.Cut(s, "-")
	if !ok {
		return inventory.AddrRange{}, fmt.Errorf("%s is no range: write both ends, as in 203.0.113.64-203.0.113.120", quoted(s))
	}
	a, err := parseAddr(strings.TrimSpace(from))
	if err != nil {
		return inventory.AddrRange{}, err
	}
	b, err := parseAddr(strings.TrimSpace(to))
	switch {
	case err != nil:
		return inventory.AddrRange{}, fmt.Errorf("%s is no range: write both ends in full, as in 203.0.113.64-203.0.113.120", quoted(s))
	case a.Is4() != b.Is4():
		return inventory.AddrRange{}, fmt.Errorf("%s mixes IPv4 and IPv6", quoted(s))
	case b.Less(a):
		return inventory.AddrRange{}, fmt.Errorf("%s ends before it begins: write %s-%s", quoted(s), b, a)
	}
	return inventory.AddrRange{From: a, To: b}, nil
}

func parseAgent(s string) (netip.AddrPort, error) {
	a, err := netip.ParseAddrPort(s)
	if err != nil || a.Port() == 0 || a.Addr().Zone() != "" || a.Addr().Is4In6() || a.Addr().IsUnspecified() || a.Addr().IsMulticast() {
		return netip.AddrPort{}, fmt.Errorf("%s is no address with a port: write one such as 127.0.0.1:1161 or [::1]:1161", quoted(s))
	}
	return a, nil
}

func parsePort(s string) (inventory.PortRef, error) {
	ref := inventory.ParsePortRef(s)
	if _, err := parseName(ref.Device); err != nil {
		return ref, fmt.Errorf("%s is no port: write the device and the port, as in quay-switch/5", quoted(s))
	}
	if !strings.Contains(s, "/") {
		return ref, nil
	}
	if p, err := parseText(ref.Port); err != nil || p != strings.TrimSpace(p) || len(p) > 64 {
		return ref, fmt.Errorf("%s is no port: after the slash stands the port's label, as in quay-switch/5", quoted(s))
	}
	return ref, nil
}

var hostForm = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9._-]{0,251}[A-Za-z0-9])?\.?$`)

func parseHostPort(s string) (string, error) {
	host, port, err := net.SplitHostPort(s)
	if err == nil && goodHost(host) && goodPort(port) {
		return s, nil
	}
	return "", fmt.Errorf("%s is no host with a port: write one such as example.net:443", quoted(s))
}

func goodHost(host string) bool {
	_, err := netip.ParseAddr(host)
	return err == nil || hostForm.MatchString(host)
}

func goodPort(port string) bool {
	n, err := strconv.ParseUint(port, 10, 16)
	return err == nil && n > 0 && strconv.FormatUint(n, 10) == port
}

// parseServer takes a host with or without a port.
func parseServer(s string) (string, error) {
	if goodHost(s) {
		return s, nil
	}
	if _, err := parseHostPort(s); err != nil {
		return "", fmt.Errorf("%s is no mail server: write its name, and its port where it is not the usual one, as in mail.example.net:587", quoted(s))
	}
	return s, nil
}

func parseLoopback(s string) (string, error) {
	host, port, err := net.SplitHostPort(s)
	a, _ := netip.ParseAddr(host)
	if err != nil || !goodPort(port) || host != "localhost" && !a.IsLoopback() {
		return "", fmt.Errorf("%s is no loopback address with a port: only this machine may ask, as in 127.0.0.1:9464", quoted(s))
	}
	return s, nil
}

func parseDomain(s string) (string, error) {
	if !hostForm.MatchString(s) || !strings.Contains(s, ".") {
		return "", fmt.Errorf("%s is no name to look up: write one such as example.net", quoted(s))
	}
	return s, nil
}

func parseWebhook(s string) (string, error) {
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "https" || u.Host == "" || strings.ContainsAny(s, " \t") {
		return "", errors.New("an https address is expected, such as https://example.net/hook") // it may hold a key: do not print it
	}
	return s, nil
}

func parseMailbox(s string) (string, error) {
	a, err := mail.ParseAddress(s)
	if err != nil || a.Name != "" || a.Address != s {
		return "", fmt.Errorf("%s is no mail address: write it alone, as in owner@example.net", quoted(s))
	}
	return s, nil
}

func parsePath(s string) (string, error) {
	if _, err := parseText(s); err != nil || !filepath.IsAbs(s) {
		return "", fmt.Errorf("%s is no full path: begin with /", quoted(s))
	}
	return s, nil
}

func writeAddr(a netip.Addr) string     { return quoteColons(a.String()) }
func writePrefix(p netip.Prefix) string { return quoteColons(p.String()) }

// quoteColons puts IPv6 in quotes: in a flow mapping a colon before a comma is
// read as a key's.
func quoteColons(s string) string {
	if strings.Count(s, ":") > 1 {
		return doubleQuoted(s)
	}
	return s
}

// plainOrQuoted leaves host:port as people write it.
func plainOrQuoted(s string) string {
	if host, port, ok := strings.Cut(s, ":"); ok && plainForm.MatchString(host) && goodPort(port) {
		return s
	}
	return plain(s)
}
