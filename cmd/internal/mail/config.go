package mail

import (
	"cmp"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"strings"
	"time"
)

// Security is how the connection to the mail server is kept private.
type Security string

// STARTTLS is the default, also for "". Neither it nor TLS ever falls back to
// an open connection.
const (
	STARTTLS Security = "starttls" // RFC 3207
	TLS      Security = "tls"      // from the first byte: RFC 8314
	Plain    Security = "plain"    // open; a password goes only as a challenge's answer
)

// Config is the way to the mail server.
type Config struct {
	// Server is "host:port", or a host: then the port is 587, with TLS 465,
	// with Plain 25.
	Server   string
	Security Security

	User     string // "" where the server asks for no login
	Password Secret

	// Hello is the name in the greeting; "" means the machine's own. Servers
	// want one with a domain.
	Hello string

	// Timeout is the longest wait for each step; zero means 30 seconds. The
	// reply to the whole message may take 10 minutes, as RFC 5321, section
	// 4.5.3.2.6, wants it, for giving up early means a second copy.
	Timeout time.Duration

	// RootCAs are those whose certificates are trusted; nil means the system's.
	RootCAs *x509.CertPool
}

// Secret is text that is never printed: whatever formats, logs or encodes it
// gets "(hidden)". A conversion to string gives it away.
type Secret string

const hidden = "(hidden)"

// Format hides the secret from all verbs of package fmt.
func (Secret) Format(f fmt.State, _ rune) { f.Write([]byte(hidden)) }

// LogValue hides the secret from package slog.
func (Secret) LogValue() slog.Value { return slog.StringValue(hidden) }

// MarshalText hides the secret from JSON and YAML.
func (Secret) MarshalText() ([]byte, error) { return []byte(hidden), nil }

// Warnings says what about the settings often makes a server or a spam filter
// refuse the mail, in words for people; none is empty. An address that cannot
// be parsed is left to [Build].
func Warnings(cfg Config, from string) []string {
	var warnings []string
	hello := cmp.Or(cfg.Hello, hostname())
	if !strings.Contains(hello, ".") && !strings.HasPrefix(hello, "[") {
		warnings = append(warnings, fmt.Sprintf("the greeting name %q has no dot; many servers refuse it", line(hello, 80)))
	}
	sender := domain(cmp.Or(from, cfg.User))
	if sender != "" && !strings.Contains(sender, ".") {
		warnings = append(warnings, fmt.Sprintf("the sender's domain %q has no dot; nobody can answer or check it", line(sender, 80)))
	}
	if account := domain(cfg.User); account != "" && sender != "" && !strings.EqualFold(account, sender) {
		warnings = append(warnings, fmt.Sprintf("the sender is at %q but the account at %q; the server may refuse it or the mail be taken for spam",
			line(sender, 80), line(account, 80)))
	}
	if cfg.Security == Plain {
		warnings = append(warnings, "the connection to the mail server is not encrypted")
	}
	return warnings
}

func hostname() string {
	name, err := os.Hostname()
	if err != nil {
		return "localhost"
	}
	return name
}

// domain is the part after the "@", "" if there is none.
func domain(addr string) string {
	parsed, err := address(addr)
	if err != nil {
		return ""
	}
	return parsed.Address[strings.LastIndexByte(parsed.Address, '@')+1:]
}

// target is the server's name and port.
func (cfg Config) target() (host string, port int, err error) {
	ports := map[Security]int{"": 587, STARTTLS: 587, TLS: 465, Plain: 25} // RFC 6409, RFC 8314, RFC 5321
	port, ok := ports[cfg.Security]
	if !ok {
		return "", 0, fmt.Errorf("security %.20q: want starttls, tls or plain", string(cfg.Security))
	}
	host = cfg.Server
	if h, p, err := net.SplitHostPort(cfg.Server); err == nil {
		host = h
		if port, err = strconv.Atoi(p); err != nil || port < 1 || port > 65535 {
			return "", 0, fmt.Errorf("server %.80q: the port is not a number from 1 to 65535", cfg.Server)
		}
	}
	if host == "" || strings.ContainsAny(host, "/ \t\r\n") {
		return "", 0, fmt.Errorf("server %.80q: want host:port", cfg.Server)
	}
	if cfg.User == "" && cfg.Password != "" {
		return "", 0, fmt.Errorf("server %.80q: a password without a user", cfg.Server)
	}
	return host, port, nil
}
