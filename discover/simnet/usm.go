package simnet

import (
	"bytes"
	"crypto/hmac"
	"errors"
	"fmt"
	"slices"

	"github.com/gosnmp/gosnmp"
)

// User may read over version 3. What it has decides the level that is asked of
// it: a message of a user with Auth must be authenticated, privacy is up to the
// sender, as snmpd has it unless told otherwise.
type User struct {
	Name     string
	Auth     gosnmp.SnmpV3AuthProtocol // zero: none
	AuthPass string                    // at least 8 characters (RFC 3414, 11.2)
	Priv     gosnmp.SnmpV3PrivProtocol // zero: none
	PrivPass string                    // likewise
}

const (
	timeWindow   = 150       // seconds either way (RFC 3414, 2.2.3)
	latchedBoots = 1<<31 - 1 // an engine that will not count further (RFC 3414, 2.2.2)
	minMaxSize   = 484       // the least msgMaxSize (RFC 3412, 6)
)

// Reports, by the object whose new value they carry.
const (
	usmStatsUnsupportedSecLevels = ".1.3.6.1.6.3.15.1.1.1.0"
	usmStatsNotInTimeWindows     = ".1.3.6.1.6.3.15.1.1.2.0"
	usmStatsUnknownUserNames     = ".1.3.6.1.6.3.15.1.1.3.0"
	usmStatsUnknownEngineIDs     = ".1.3.6.1.6.3.15.1.1.4.0"
	usmStatsWrongDigests         = ".1.3.6.1.6.3.15.1.1.5.0"
	usmStatsDecryptionErrors     = ".1.3.6.1.6.3.15.1.1.6.0"
	snmpUnknownPDUHandlers       = ".1.3.6.1.6.3.11.2.1.3.0"
	snmpUnknownContexts          = ".1.3.6.1.6.3.12.1.5.0"
)

// digestSizes are the lengths of msgAuthenticationParameters (RFC 3414, 6.3.1
// and 7.3.1; RFC 7860, 4.2.1).
var digestSizes = map[gosnmp.SnmpV3AuthProtocol]int{
	gosnmp.MD5: 12, gosnmp.SHA: 12, gosnmp.SHA224: 16, gosnmp.SHA256: 24, gosnmp.SHA384: 32, gosnmp.SHA512: 48,
}

// account is a user with its keys and a decoder that uses them.
type account struct {
	params *gosnmp.UsmSecurityParameters
	level  gosnmp.SnmpV3MsgFlags
	codec  *gosnmp.GoSNMP
}

func newAccount(u User, engine string) (*account, error) {
	var errs []error
	if n := len(u.Name); n == 0 || n > 32 {
		errs = append(errs, fmt.Errorf("name of %d octets: 1 to 32 expected (RFC 3414, 5)", n))
	}
	a := &account{params: &gosnmp.UsmSecurityParameters{
		UserName: u.Name, AuthoritativeEngineID: engine,
		AuthenticationProtocol: gosnmp.NoAuth, PrivacyProtocol: gosnmp.NoPriv,
	}}
	if u.Auth > gosnmp.NoAuth {
		a.level = gosnmp.AuthNoPriv
		a.params.AuthenticationProtocol, a.params.AuthenticationPassphrase = u.Auth, u.AuthPass
		if digestSizes[u.Auth] == 0 {
			errs = append(errs, fmt.Errorf("authentication protocol %d: not known", u.Auth))
		}
		if len(u.AuthPass) < 8 {
			errs = append(errs, errors.New("authentication password: at least 8 characters expected (RFC 3414, 11.2)"))
		}
	}
	if u.Priv > gosnmp.NoPriv {
		a.level = gosnmp.AuthPriv
		a.params.PrivacyProtocol, a.params.PrivacyPassphrase = u.Priv, u.PrivPass
		if u.Auth <= gosnmp.NoAuth || u.Priv > gosnmp.AES256C {
			errs = append(errs, fmt.Errorf("privacy protocol %d: not known, or without authentication", u.Priv))
		}
		if len(u.PrivPass) < 8 {
			errs = append(errs, errors.New("privacy password: at least 8 characters expected (RFC 3414, 11.2)"))
		}
	}
	if len(errs) == 0 {
		errs = append(errs, a.params.InitSecurityKeys())
	}
	if err := errors.Join(errs...); err != nil {
		return nil, fmt.Errorf("user %.32q: %w", u.Name, err)
	}
	return a, nil
}

// clone is the account with a decoder, for one session: decoding sets a new
// salt in the parameters.
func (a *account) clone() *account {
	params := a.params.Copy().(*gosnmp.UsmSecurityParameters)
	return &account{params: params, level: a.level, codec: decoder(params, a.level)}
}

func decoder(params *gosnmp.UsmSecurityParameters, level gosnmp.SnmpV3MsgFlags) *gosnmp.GoSNMP {
	return &gosnmp.GoSNMP{
		Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel,
		MsgFlags: level, SecurityParameters: params,
	}
}

// answerV3 takes a message in the order of RFC 3414, 3.2. q is b as far as it
// can be read without keys.
func (s *session) answerV3(b []byte, q *gosnmp.SnmpPacket, st *state) []byte {
	params, level, ok := readHeader(q)
	if !ok {
		s.malformed()
		return nil
	}
	if params.AuthoritativeEngineID != s.engine {
		return s.report(q, usmStatsUnknownEngineIDs, nil, st)
	}
	acct := s.users[params.UserName]
	if acct == nil {
		return s.report(q, usmStatsUnknownUserNames, nil, st)
	}
	if level > acct.level {
		return s.report(q, usmStatsUnsupportedSecLevels, nil, st)
	}
	if level == gosnmp.NoAuthNoPriv {
		return s.admit(q, acct, st)
	}
	if !acct.authentic(b, params.AuthenticationParameters) {
		return s.report(q, usmStatsWrongDigests, nil, st)
	}
	if !st.inWindow(params) {
		// The only report that is authenticated, so that the clock in it can be trusted.
		q.MsgFlags = q.MsgFlags&gosnmp.Reportable | gosnmp.AuthNoPriv
		return s.report(q, usmStatsNotInTimeWindows, acct, st)
	}
	body, err := acct.codec.SnmpDecodePacket(slices.Clone(b))
	if err != nil {
		if salt := body.SecurityParameters.(*gosnmp.UsmSecurityParameters).PrivacyParameters; level == gosnmp.AuthPriv && len(salt) != 8 {
			return s.report(q, usmStatsDecryptionErrors, nil, st) // RFC 3414, 8.3.2
		}
		s.malformed() // a wrong privacy key decrypts to noise, and noise is dropped
		return nil
	}
	return s.admit(body, acct, st)
}

// readHeader takes what is readable without keys and reports whether that is a
// whole header (RFC 3412, 7.2).
func readHeader(q *gosnmp.SnmpPacket) (*gosnmp.UsmSecurityParameters, gosnmp.SnmpV3MsgFlags, bool) {
	params, ok := q.SecurityParameters.(*gosnmp.UsmSecurityParameters)
	level := q.MsgFlags & gosnmp.AuthPriv
	if !ok || q.SecurityModel != gosnmp.UserSecurityModel || q.MsgMaxSize < minMaxSize {
		return nil, 0, false
	}
	switch level {
	case gosnmp.NoAuthNoPriv:
		// The last field is read, and then not nil, even if empty.
		return params, level, params.PrivacyParameters != nil
	case gosnmp.AuthNoPriv, gosnmp.AuthPriv:
		// Without keys the codec stops at the digest.
		return params, level, params.AuthenticationParameters != ""
	}
	return nil, 0, false // privacy without authentication: snmpInvalidMsgs
}

// authentic checks the digest (RFC 3414, 6.3.2; RFC 7860, 4.2.2): over the
// message with zeros in place of the digest.
func (a *account) authentic(b []byte, digest string) bool {
	protocol := a.params.AuthenticationProtocol
	n := digestSizes[protocol]
	if len(digest) != n {
		return false
	}
	// The user and the engine are ours and the digest as long as it must be, so
	// the first place with these octets is the field itself.
	at := bytes.Index(b, append([]byte{byte(gosnmp.OctetString), byte(n)}, digest...))
	if at < 0 {
		return false
	}
	blank := slices.Clone(b)
	clear(blank[at+2 : at+2+n])
	mac := hmac.New(protocol.HashType().New, a.params.SecretKey)
	mac.Write(blank)
	return hmac.Equal(mac.Sum(nil)[:n], []byte(digest))
}

// inWindow is RFC 3414, 3.2, step 7a.
func (st *state) inWindow(p *gosnmp.UsmSecurityParameters) bool {
	away := int64(st.engineTime()) - int64(p.AuthoritativeEngineTime)
	return st.boots < latchedBoots && p.AuthoritativeEngineBoots == st.boots && -timeWindow <= away && away <= timeWindow
}

// admit checks the context (RFC 3412, 7.2; RFC 3413, 3.2) and the rights, and
// answers.
func (s *session) admit(q *gosnmp.SnmpPacket, acct *account, st *state) []byte {
	if !s.countRequest(q) {
		return nil
	}
	s.count(func(c *Counts) { tally(&c.Users, acct.params.UserName) })
	switch {
	case q.ContextEngineID != s.engine:
		return s.report(q, snmpUnknownPDUHandlers, acct, st)
	case q.ContextName != "" && !s.enter(st, func(c within) bool { return c.name == q.ContextName }):
		return s.report(q, snmpUnknownContexts, acct, st)
	case acct.level&gosnmp.AuthNoPriv != 0 && q.MsgFlags&gosnmp.AuthNoPriv == 0:
		return s.encode(q, reply{status: gosnmp.AuthorizationError}, acct, st)
	}
	return s.respond(q, acct, st)
}

// report tells the sender what was wrong, if it wants to know (RFC 3412, 7.1):
// in the clear, or protected as q was if acct is given.
func (s *session) report(q *gosnmp.SnmpPacket, object string, acct *account, st *state) []byte {
	var n int
	s.count(func(c *Counts) { n = tally(&c.Reports, object) })
	if q.MsgFlags&gosnmp.Reportable == 0 {
		return nil
	}
	if acct == nil {
		user := q.SecurityParameters.(*gosnmp.UsmSecurityParameters).UserName
		acct = &account{params: &gosnmp.UsmSecurityParameters{UserName: user, AuthoritativeEngineID: s.engine}}
		q.MsgFlags &= gosnmp.Reportable
	}
	p := s.envelope(q, acct, st)
	p.PDUType, p.ContextName = gosnmp.Report, ""
	p.RequestID = q.RequestID & (1<<31 - 1) // zero where q could not be read that far
	p.Variables = []gosnmp.SnmpPDU{{Name: object, Type: gosnmp.Counter32, Value: uint32(n)}}
	out, err := marshal(p, acct)
	if err != nil {
		s.malformed()
		return nil
	}
	return out
}
