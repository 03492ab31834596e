// Package login tells which planned devices still take their factory account,
// without ever locking one, knocking at an unknown device's door, or leaking a
// password.
//
// Start with Checker.Check. It asks the Gate about each Target, reserves the
// try in the Ledger before a packet leaves, and sends at most one login (two
// where the plan allows a contrast, see Account.Contrast). All that it does
// not try is a Result too, with the reason: coverage, not silence.
//
// Only Refused is good news, and it never means "changed": a disabled account
// or a skewed clock refuses as well. Accepted needs proof by contrast: the
// device must ask for a login first, and answer differently with it.
//
// Nothing that a device says reaches a Result: Reason is made of this
// package's own words and of numbers, since a hostile answer may repeat the
// password. There is no logging here, no list of products and no list of
// passwords. Signs of a lock are looked for in English only.
//
// Protocols: HTTP Basic (RFC 7617) and Digest (RFC 7616, RFC 2617), form logins
// that the plan describes, SSH passwords (RFC 4252, RFC 4256), RTSP DESCRIBE
// (RFC 2326, RFC 7826), the OASIS Web Services Security UsernameToken with
// ONVIF's read-only GetDeviceInformation, and SNMP by a function of the caller.
package login
