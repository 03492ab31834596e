package login

import (
	"net/netip"
	"strconv"
	"strings"
	"time"
)

// Over is what a login is tried over. The zero value is none: never tried.
type Over string

// The ways to log in.
const (
	OverHTTP       Over = "http"        // Digest or Basic, the strongest that the device offers
	OverHTTPBasic  Over = "http-basic"  // RFC 7617 only
	OverHTTPDigest Over = "http-digest" // RFC 7616 only
	OverForm       Over = "form"        // as Account.Form says
	OverSSH        Over = "ssh"
	OverRTSP       Over = "rtsp"
	OverONVIF      Over = "onvif" // UsernameToken
	OverSNMP       Over = "snmp"
)

// Account is a factory account as the plan lists it.
type Account struct {
	Entry string // the plan's name or number of the list entry, fit to print; empty: no account
	Over  Over
	Port  uint16 // zero: the registered port of Over
	TLS   bool   // HTTP, form, ONVIF and RTSP over TLS
	// Path is what needs the login: a page, a stream, ONVIF's device service. For a
	// form it is the page that asks for it. Empty: "/", for ONVIF /onvif/device_service.
	Path     string
	Form     Form
	User     string // empty for an SNMP community
	Password Secret
	// Contrast allows one second, surely wrong login under a made-up name, sent only
	// after the first was taken, as proof that not every login is.
	Contrast bool
	// SetupSign is a text that the device's page shows while it has no password yet.
	// Empty: a page whose only password form asks for one twice.
	SetupSign string
}

// Form describes a login page. Hidden fields that the page holds are sent along.
type Form struct {
	Post      string // path that the fields are posted to; empty: Account.Path
	UserField string // empty: the form has no user name
	PassField string
	Fields    map[string]string // further fields with their fixed values
	Success   string            // text that only what lies behind the login shows
	Failure   string            // text that the answer to a wrong login shows; empty: only 401 counts as refused
	Proof     string            // path of a page behind the login that shows Success; empty: the answer to the post, which needs Contrast
}

// Switch is the plan's factory_logins. The zero value is off.
type Switch int

// The positions of the switch.
const (
	Off         Switch = iota // never
	OnRequest                 // only where a person asks
	AfterChange               // also new accounts, new firmware, other hardware, and at most once in 30 days a restart
)

// Target is one account at one planned device, with what is known of that
// device now.
type Target struct {
	Device         string     // name in the plan; empty: an unknown device, never tried
	MACs           [][6]byte  // the planned MACs
	Address        netip.Addr // where it was seen
	LeaveAlone     bool       // the plan forbids to send it anything
	SameAsIntended bool       // the factory account is also the one meant to be used: the plan's fault, not the device's
	Firmware       string     // cleaned; empty: not known
	Booted         time.Time  // when it last started; zero: not known
	Switch         Switch
	Asked          bool // a person asked for this check
	Account        Account
}

// Sighting is a MAC address read for an address. The zero value is none.
type Sighting struct {
	MAC [6]byte
	At  time.Time
}

// SNMPTry is one read of sysUpTime.0 that a Checker asks its caller for.
type SNMPTry struct {
	Agent  netip.AddrPort
	User   string // SNMPv3 user; empty: Secret is a v2c community
	Secret Secret
}

// port is the port to use: the plan's, else the one registered with IANA.
func (a Account) port() uint16 {
	if a.Port != 0 {
		return a.Port
	}
	switch a.Over {
	case OverSSH:
		return 22
	case OverSNMP:
		return 161
	case OverRTSP:
		if a.TLS {
			return 322
		}
		return 554
	}
	if a.TLS {
		return 443
	}
	return 80
}

func (a Account) path() string {
	switch {
	case a.Path != "":
		return a.Path
	case a.Over == OverONVIF:
		return "/onvif/device_service" // ONVIF Core Specification, entry point; from memory
	}
	return "/"
}

// problem is why the account cannot be tried as it stands in the plan, or "".
func (a Account) problem() string {
	switch a.Over {
	case OverHTTP, OverHTTPBasic, OverHTTPDigest, OverSSH, OverRTSP, OverONVIF, OverSNMP:
	case OverForm:
		if a.Form.PassField == "" || a.Form.Success == "" {
			return "the plan does not name the form's password field and sign of success"
		}
	default:
		return "the plan names no way to log in that is known here"
	}
	for _, p := range []string{a.Path, a.Form.Post, a.Form.Proof} {
		if p != "" && !usablePath(p) {
			return "a path in the plan does not begin with one / or holds blanks"
		}
	}
	if a.Over == OverHTTPBasic && strings.Contains(a.User, ":") {
		return "Basic cannot carry a user name with a colon" // RFC 7617, section 2
	}
	if strings.ContainsFunc(a.User, func(r rune) bool { return !strconv.IsPrint(r) }) {
		return "the user name holds characters that cannot be sent"
	}
	return ""
}

// usablePath keeps a plan's path from naming another host or a second header line.
func usablePath(p string) bool {
	return strings.HasPrefix(p, "/") && !strings.HasPrefix(p, "//") &&
		!strings.ContainsFunc(p, func(r rune) bool { return r <= ' ' || r == 0x7f || r == '\\' })
}
