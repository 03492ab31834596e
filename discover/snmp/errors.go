package snmp

import (
	"errors"
	"net/netip"
)

// Callers branch on these. All but ErrNoResponse mean that the host is up.
var (
	// ErrNoResponse is returned when nothing came in time: a device that is off,
	// a filter, no agent, or with versions 1 and 2c a wrong community.
	ErrNoResponse = errors.New("no response")
	// ErrRefused is returned when the host answers that nothing listens there,
	// or the agent answers that it may not be read.
	ErrRefused = errors.New("refused")
	// ErrWrongUser: usmStatsUnknownUserNames (RFC 3414, 3.2.4).
	ErrWrongUser = errors.New("user name not known there")
	// ErrWrongPassword: usmStatsWrongDigests (RFC 3414, 3.2.6).
	ErrWrongPassword = errors.New("authentication password or protocol wrong")
	// ErrWrongPrivacy is returned for usmStatsDecryptionErrors, and for silence
	// under privacy where the same user is answered without.
	ErrWrongPrivacy = errors.New("privacy password or protocol wrong")
	// ErrClock: usmStatsNotInTimeWindows, again after a new start (RFC 3414, 3.2.7).
	ErrClock = errors.New("engine boots or clock not accepted")
	// ErrSecurityLevel: usmStatsUnsupportedSecLevels (RFC 3414, 3.2.5).
	ErrSecurityLevel = errors.New("security level not offered to this user")
	// ErrUnknownContext: snmpUnknownContexts or snmpUnavailableContexts (RFC 3413).
	ErrUnknownContext = errors.New("context not known there")
	// ErrEngineChanged: usmStatsUnknownEngineIDs after first contact (RFC 3414, 3.2.3).
	ErrEngineChanged = errors.New("engine ID changed")
)

// isRefusal tells whether the device said no, whatever the reason.
func isRefusal(err error) bool {
	for _, no := range []error{ErrRefused, ErrWrongUser, ErrWrongPassword, ErrWrongPrivacy,
		ErrClock, ErrSecurityLevel, ErrUnknownContext, ErrEngineChanged} {
		if errors.Is(err, no) {
			return true
		}
	}
	return false
}

// TargetError says what was tried on which target. It unwraps to the cause.
type TargetError struct {
	Op     string // "first contact", "get", "walk", "discover"
	Target netip.AddrPort
	Err    error
}

func (e *TargetError) Error() string {
	return e.Op + " " + e.Target.String() + ": " + e.Err.Error()
}

// Unwrap is the cause.
func (e *TargetError) Unwrap() error { return e.Err }
