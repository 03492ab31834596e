package snmp

import (
	"errors"
	"fmt"

	"github.com/gosnmp/gosnmp"
)

// Credentials say how to ask. The zero value is invalid: a version is needed.
type Credentials struct {
	Version   string // "1", "2c" or "3"
	Community Secret // versions 1 and 2c

	// The rest is for version 3.
	User          string
	Auth          string // "" or "none", "md5", "sha", "sha224", "sha256", "sha384", "sha512"
	Privacy       string // "" or "none", "des", "aes", "aes192", "aes256", "aes192c", "aes256c"
	AuthSecret    Secret
	PrivacySecret Secret
	Context       string // context name; empty is the default context
}

const (
	// A longer one comes out of gosnmp v1.47 as broken BER.
	maxCommunity = 127
	// RFC 3414, 11.2: shorter passwords must be refused.
	minSecret = 8
	// SnmpAdminString (SIZE(0..32)): usmUserSecurityName (RFC 3414, section 5),
	// vacmContextName (RFC 3415, section 4).
	maxName = 32
)

var authProtocols = map[string]gosnmp.SnmpV3AuthProtocol{
	"": gosnmp.NoAuth, "none": gosnmp.NoAuth, "md5": gosnmp.MD5, "sha": gosnmp.SHA,
	"sha224": gosnmp.SHA224, "sha256": gosnmp.SHA256, "sha384": gosnmp.SHA384, "sha512": gosnmp.SHA512,
}

// There is no RFC for AES with more than 128 bits. Two ways to lengthen a short
// key are in use; they do not understand each other, so each has its name.
var privacyProtocols = map[string]gosnmp.SnmpV3PrivProtocol{
	"": gosnmp.NoPriv, "none": gosnmp.NoPriv, "des": gosnmp.DES, "aes": gosnmp.AES,
	"aes192": gosnmp.AES192, "aes256": gosnmp.AES256, // draft-blumenthal-aes-usm
	"aes192c": gosnmp.AES192C, "aes256c": gosnmp.AES256C, // draft-reeder-snmpv3-usm-3desede
}

// Validate joins every problem: unknown names, secrets that are missing or
// shorter than eight characters, a community that is empty or over 127 bytes,
// privacy without authentication, fields of another version.
func (c Credentials) Validate() error {
	switch c.Version {
	case "1", "2c":
		return c.validateCommunity()
	case "3":
		return c.validateUser()
	case "":
		return errors.New(`version: missing (it is "1", "2c" or "3")`)
	}
	return fmt.Errorf(`version: %.20q is none (it is "1", "2c" or "3")`, c.Version)
}

func (c Credentials) validateCommunity() error {
	var errs []error
	switch n := len(c.Community); {
	case n == 0:
		errs = append(errs, errors.New("community: missing"))
	case n > maxCommunity:
		errs = append(errs, fmt.Errorf("community: %d bytes, at most %d", n, maxCommunity))
	}
	user := c
	user.Version, user.Community = "", ""
	if user != (Credentials{}) {
		errs = append(errs, fmt.Errorf("version %s has a community only: no user, secrets or context", c.Version))
	}
	return errors.Join(errs...)
}

func (c Credentials) validateUser() error {
	var errs []error
	fault := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	if c.Community != "" {
		fault("community: version 3 has none")
	}
	if c.User == "" || len(c.User) > maxName {
		fault("user: %d bytes, at least 1 and at most %d", len(c.User), maxName)
	}
	if len(c.Context) > maxName {
		fault("context: %d bytes, at most %d", len(c.Context), maxName)
	}
	auth, known := authProtocols[c.Auth]
	if known {
		checkSecret(fault, "auth", auth != gosnmp.NoAuth, c.AuthSecret)
	} else {
		fault("auth: %.20q is no protocol (md5, sha, sha224, sha256, sha384, sha512)", c.Auth)
	}
	privacy, known := privacyProtocols[c.Privacy]
	if known {
		checkSecret(fault, "privacy", privacy != gosnmp.NoPriv, c.PrivacySecret)
	} else {
		fault("privacy: %.20q is no protocol (des, aes, aes192, aes256, aes192c, aes256c)", c.Privacy)
	}
	if privacy != gosnmp.NoPriv && auth == gosnmp.NoAuth {
		fault("privacy: needs auth (RFC 3411, section 3.4.3)")
	}
	return errors.Join(errs...)
}

func checkSecret(fault func(string, ...any), name string, used bool, s Secret) {
	switch {
	case !used && s != "":
		fault("%s secret: given, but %s is none", name, name)
	case used && len(s) < minSecret:
		fault("%s secret: %d characters, at least %d (RFC 3414, section 11.2)", name, len(s), minSecret)
	}
}

// Weak names what is weak in c in plain words, one entry each; nil if nothing is.
func (c Credentials) Weak() []string {
	if c.Version != "3" {
		return []string{"version " + c.Version + " sends its community and all values in clear text"}
	}
	var weak []string
	auth, privacy := authProtocols[c.Auth], privacyProtocols[c.Privacy]
	switch {
	case auth == gosnmp.NoAuth:
		weak = append(weak, "no authentication: anyone who knows the user name can ask")
	case privacy == gosnmp.NoPriv:
		weak = append(weak, "no privacy: all values go in clear text")
	}
	if auth == gosnmp.MD5 {
		weak = append(weak, "MD5 authentication is outdated")
	}
	if privacy == gosnmp.DES {
		weak = append(weak, "DES privacy has a key of 56 bits, which can be searched")
	}
	if privacy != gosnmp.NoPriv && c.AuthSecret == c.PrivacySecret {
		weak = append(weak, "authentication and privacy share one secret")
	}
	return weak
}
