package login

import (
	"context"
	"errors"
	"time"
)

// Outcome is how a check ended. The zero value is none: a try that was
// reserved and never came to an end.
type Outcome string

// The outcomes. Only Refused is good; it never means that a password was changed.
const (
	Accepted       Outcome = "accepted"        // the factory account still works, proved by contrast
	Refused        Outcome = "refused"         // the device said no to this login
	CannotTell     Outcome = "cannot-tell"     // the answers prove neither
	NotChecked     Outcome = "not-checked"     // the gate held it back, or the device could not be reached
	Locked         Outcome = "locked"          // a sign of a lock; ends all checks of the device until a person clears it
	NotInitialised Outcome = "not-initialised" // the device asks to set its first password
)

// Result is one check of one account. It holds no password and nothing that a
// device said in its own words.
type Result struct {
	Device  string
	Entry   string
	Over    Over
	Port    uint16
	At      time.Time // when the check was decided on
	Outcome Outcome
	Reason  string // why, in words for people; may be empty for Accepted and Refused
	Sent    int    // logins that may have left this machine: 0, 1, or 2 with a contrast
	Lock    string // the sign of a lock; empty: none. It may stand beside Accepted
	// Unguarded says that the device gave what lies behind the login without one,
	// or to a surely wrong one: worse than a factory account.
	Unguarded bool
	Scheme    string // what the device asked for: basic, digest-md5, digest-sha-256, form, password, username-token, community
	TLS       string // version of TLS; empty: none
	// Fingerprint is the SHA-256 of the certificate in hex, or of the SSH host key as
	// OpenSSH prints it; empty: none seen.
	Fingerprint string
	ClockOffset time.Duration // ONVIF: the device's clock less ours; zero also where it was not read
}

// Try is one line of the ledger.
type Try struct {
	Device   string
	MAC      [6]byte // as read just before; zero on loopback
	Entry    string
	Over     Over
	At       time.Time
	Why      string // what allowed it, see Gate.Decide
	Firmware string

	Outcome Outcome // empty: reserved, never recorded; counts as a try that was refused
	Sent    int
	Lock    string
	Cleared bool // a person cleared the lock
}

// ErrReserved is returned by Ledger.Reserve when another try at the device
// came in between.
var ErrReserved = errors.New("another try was reserved")

// Ledger remembers every try for ever. Only one Check of a Checker uses it at a
// time, but other processes may.
type Ledger interface {
	// Tries lists all tries at a device of this name or with one of these MACs, in
	// any order. The caller may keep the slice.
	Tries(ctx context.Context, device string, macs [][6]byte) ([]Try, error)
	// Reserve stores t and gives its number once it is durable, which is before the
	// first packet leaves. prior is how many tries the gate saw for t.Device and
	// macs; where, in the same transaction, there are not that many, Reserve stores nothing and
	// returns ErrReserved.
	Reserve(ctx context.Context, t Try, macs [][6]byte, prior int) (id int64, err error)
	// Record stores the outcome of a reserved try.
	Record(ctx context.Context, id int64, r Result) error
}
