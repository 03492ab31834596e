package snmp

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/gosnmp/gosnmp"
)

const (
	// maxMessage is the size we state to take: what fits in one Ethernet frame
	// (RFC 3417, 3.2). Some agents send fragments where more is offered.
	maxMessage = 1472
	// timeWindow is how far an engine's clock may lag (RFC 3414, 2.2.3).
	timeWindow = 150
)

// usm is the wire of version 3 towards one engine (RFC 3414).
type usm struct {
	codec  *gosnmp.GoSNMP
	user   *gosnmp.UsmSecurityParameters
	boots  uint32 // as of the latest message
	time   uint32
	synced time.Time // when that came
	proven bool      // and it was authentic
}

func newUSM(cred Credentials, engine Engine) (*usm, error) {
	user := &gosnmp.UsmSecurityParameters{
		UserName:                 cred.User,
		AuthenticationProtocol:   authProtocols[cred.Auth],
		AuthenticationPassphrase: string(cred.AuthSecret),
		PrivacyProtocol:          privacyProtocols[cred.Privacy],
		PrivacyPassphrase:        string(cred.PrivacySecret),
		AuthoritativeEngineID:    string(engine.ID),
	}
	flags := gosnmp.NoAuthNoPriv
	switch {
	case user.PrivacyProtocol != gosnmp.NoPriv:
		flags = gosnmp.AuthPriv
	case user.AuthenticationProtocol != gosnmp.NoAuth:
		flags = gosnmp.AuthNoPriv
	}
	w := &usm{
		codec: &gosnmp.GoSNMP{
			Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, MsgFlags: flags | gosnmp.Reportable,
			SecurityParameters: user, ContextEngineID: string(engine.ID), ContextName: cred.Context,
		},
		user: user,
	}
	w.sync(engine.Boots, engine.Time)
	// The keys are localised; gosnmp hashes each password once in a process.
	if err := user.InitSecurityKeys(); err != nil {
		return nil, err
	}
	// This validates, and draws the first salt (RFC 3826, 3.1.2.1).
	_, err := w.codec.SnmpEncodePacket(gosnmp.GetRequest, nil, 0, 0)
	return w, err
}

func (w *usm) sync(boots, seconds uint32) {
	w.boots, w.time, w.synced = boots, seconds, time.Now()
}

// engine is the engine as known now, its clock carried on.
func (w *usm) engine() Engine {
	return Engine{
		ID: []byte(w.user.AuthoritativeEngineID), Boots: w.boots,
		Time: w.time + uint32(time.Since(w.synced)/time.Second),
	}
}

func (w *usm) encode(q request, id uint32) ([]byte, error) {
	w.user.AuthoritativeEngineBoots, w.user.AuthoritativeEngineTime = w.boots, w.engine().Time
	p := w.codec.MkSnmpPacket(q.pdu, nullVarbinds(q.oids), 0, uint32(q.reps))
	p.RequestID, p.MsgID, p.MsgMaxSize = id, id, maxMessage
	if w.level() == gosnmp.AuthPriv {
		if err := w.user.InitPacket(p); err != nil {
			return nil, err
		}
	}
	return p.MarshalMsg()
}

func (w *usm) level() gosnmp.SnmpV3MsgFlags { return w.codec.MsgFlags & gosnmp.AuthPriv }

// decode follows RFC 3414, 3.2 and RFC 3412, 7.2. UnmarshalTrap, in spite of its
// name, is the one function of the codec that checks digest and user.
func (w *usm) decode(b []byte, ids []uint32) (*gosnmp.SnmpPacket, error) {
	// The codec blanks the digest and decrypts in place.
	p, err := guard(func() (*gosnmp.SnmpPacket, error) { return w.codec.UnmarshalTrap(bytes.Clone(b), false) })
	if err != nil {
		return nil, plainReport(b, ids)
	}
	from, ok := p.SecurityParameters.(*gosnmp.UsmSecurityParameters)
	if !ok || p.Version != gosnmp.Version3 || p.SecurityModel != gosnmp.UserSecurityModel ||
		!slices.Contains(ids, p.MsgID) {
		return nil, errStray
	}
	if p.PDUType == gosnmp.Report && p.MsgFlags&gosnmp.AuthNoPriv == 0 {
		return nil, reportError(p)
	}
	if from.AuthoritativeEngineID != w.user.AuthoritativeEngineID || from.UserName != w.user.UserName || !w.timely(from) {
		return nil, errStray
	}
	switch {
	case p.PDUType == gosnmp.Report:
		return nil, reportError(p)
	case p.PDUType != gosnmp.GetResponse, p.MsgFlags&gosnmp.AuthPriv != w.level(), !slices.Contains(ids, p.RequestID):
		return nil, errStray
	}
	return p, nil
}

// timely checks the clock in an authentic message and takes it over
// (RFC 3414, 3.2, step 7b), which keeps old messages from being replayed.
func (w *usm) timely(from *gosnmp.UsmSecurityParameters) bool {
	if w.level() == gosnmp.NoAuthNoPriv {
		return true
	}
	boots, seconds := from.AuthoritativeEngineBoots, from.AuthoritativeEngineTime
	if w.proven && (boots < w.boots || boots == w.boots && int64(seconds) < int64(w.engine().Time)-timeWindow) {
		return false
	}
	if !w.proven || boots > w.boots || seconds > w.time {
		w.sync(boots, seconds)
	}
	w.proven = true
	return true
}

// The header, engine ID, user, digest and salt take up to 250 octets.
func (w *usm) room() int { return minMaxMessage - 250 }

// plainReport reads what is not authentic: a report about a request that the
// device could not accept, or nothing of interest.
func plainReport(b []byte, ids []uint32) error {
	p, err := decodePlain(b)
	if err != nil || p.PDUType != gosnmp.Report || !slices.Contains(ids, p.MsgID) {
		return errStray
	}
	return reportError(p)
}

// decodePlain reads a version 3 message that is neither authentic nor private.
// The user name is there because the codec wants one; it is not compared.
func decodePlain(b []byte) (*gosnmp.SnmpPacket, error) {
	g := &gosnmp.GoSNMP{
		Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, MsgFlags: gosnmp.NoAuthNoPriv,
		SecurityParameters: &gosnmp.UsmSecurityParameters{UserName: "any", AuthenticationProtocol: gosnmp.NoAuth, PrivacyProtocol: gosnmp.NoPriv},
	}
	p, err := guard(func() (*gosnmp.SnmpPacket, error) { return g.SnmpDecodePacket(bytes.Clone(b)) })
	if err == nil && p.Version != gosnmp.Version3 {
		err = errStray
	}
	return p, err
}

// reports are the counters that a Report names (RFC 3414, section 5; RFC 3412,
// section 5; RFC 3413, section 4.1.2). Some agents leave out the final .0.
var reports = []struct {
	counter OID
	err     error
}{
	{MustOID("1.3.6.1.6.3.15.1.1.1"), ErrSecurityLevel},
	{MustOID("1.3.6.1.6.3.15.1.1.2"), ErrClock},
	{MustOID("1.3.6.1.6.3.15.1.1.3"), ErrWrongUser},
	{MustOID("1.3.6.1.6.3.15.1.1.4"), ErrEngineChanged},
	{MustOID("1.3.6.1.6.3.15.1.1.5"), ErrWrongPassword},
	{MustOID("1.3.6.1.6.3.15.1.1.6"), ErrWrongPrivacy},
	{MustOID("1.3.6.1.6.3.12.1.4"), ErrUnknownContext},
	{MustOID("1.3.6.1.6.3.12.1.5"), ErrUnknownContext},
	{MustOID("1.3.6.1.6.3.11.2.1.1"), fmt.Errorf("%w: version 3 users are not enabled there", ErrRefused)},
	{MustOID("1.3.6.1.6.3.11.2.1.2"), fmt.Errorf("%w: it calls the message invalid", ErrRefused)},
	{MustOID("1.3.6.1.6.3.11.2.1.3"), fmt.Errorf("%w: it has no handler for the request", ErrRefused)},
}

func reportError(p *gosnmp.SnmpPacket) error {
	for _, v := range p.Variables {
		name, err := ParseOID(v.Name)
		if err != nil {
			continue
		}
		for _, r := range reports {
			if name.HasPrefix(r.counter) {
				return r.err
			}
		}
	}
	return fmt.Errorf("%w: report without a known reason", ErrRefused)
}

// discovery is the wire that asks for an engine without credentials: empty
// engine ID, user and varbind list, reportable (RFC 3414, section 4).
type discovery struct{}

func (discovery) encode(_ request, id uint32) ([]byte, error) {
	p := &gosnmp.SnmpPacket{
		Version: gosnmp.Version3, MsgID: id, RequestID: id, MsgMaxSize: maxMessage, MsgFlags: gosnmp.Reportable,
		SecurityModel: gosnmp.UserSecurityModel, PDUType: gosnmp.GetRequest,
		SecurityParameters: &gosnmp.UsmSecurityParameters{},
	}
	return p.MarshalMsg()
}

// decode takes any report with a valid engine ID: some agents name another
// counter than usmStatsUnknownEngineIDs here.
func (discovery) decode(b []byte, ids []uint32) (*gosnmp.SnmpPacket, error) {
	p, err := decodePlain(b)
	if err != nil || p.PDUType != gosnmp.Report || !slices.Contains(ids, p.MsgID) {
		return nil, errStray
	}
	if engineOf(p).valid() {
		return p, nil
	}
	if err := reportError(p); !errors.Is(err, ErrEngineChanged) {
		return nil, err
	}
	return nil, fmt.Errorf("%w: its engine ID is invalid", ErrRefused)
}

func (discovery) room() int { return minMaxMessage }

func engineOf(p *gosnmp.SnmpPacket) Engine {
	from, ok := p.SecurityParameters.(*gosnmp.UsmSecurityParameters)
	if !ok {
		return Engine{}
	}
	return Engine{
		ID:    []byte(from.AuthoritativeEngineID),
		Boots: from.AuthoritativeEngineBoots, Time: from.AuthoritativeEngineTime,
	}
}
