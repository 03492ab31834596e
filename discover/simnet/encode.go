package simnet

import "github.com/gosnmp/gosnmp"

// encode makes the datagram. What is too long is cut (GETBULK) or answered
// tooBig; nil means that nothing that fits could be said.
func (s *session) encode(q *gosnmp.SnmpPacket, r reply, acct *account, st *state) []byte {
	p := s.envelope(q, acct, st)
	p.PDUType, p.RequestID = gosnmp.GetResponse, q.RequestID
	p.Error, p.ErrorIndex = r.status, r.index
	limit := maxMessage
	if p.Version == gosnmp.Version3 {
		limit = min(limit, int(q.MsgMaxSize)) // what the sender can take (RFC 3412, 6)
	}
	for {
		p.Variables = variables(q, p.Error, r.binds)
		out, err := marshal(p, acct)
		if err != nil {
			return nil
		}
		excess := len(out) - limit
		switch {
		case excess <= 0:
			return s.altered(p, out, acct, st)
		case r.bulk && len(r.binds) > 0:
			r.binds = cut(r.binds, excess)
		case p.Error != gosnmp.TooBig:
			p.Error, p.ErrorIndex, r.binds = gosnmp.TooBig, 0, nil
		default:
			return nil // RFC 3416, 4.2.1: snmpSilentDrops
		}
	}
}

// variables are the bindings of a response: an error carries those of the
// request, but a tooBig none, unless version 1 wants them (RFC 3416, 4.2.1; RFC
// 1157, 4.1.2).
func variables(q *gosnmp.SnmpPacket, status gosnmp.SNMPError, binds []bind) []gosnmp.SnmpPDU {
	switch {
	case status == gosnmp.TooBig && q.Version != gosnmp.Version1:
		return nil
	case status != gosnmp.NoError:
		return q.Variables
	}
	out := make([]gosnmp.SnmpPDU, 0, len(binds))
	for _, b := range binds {
		out = append(out, b.pdu())
	}
	return out
}

// cut drops bindings from the end until at least excess octets are gone.
func cut(binds []bind, excess int) []bind {
	for excess > 0 && len(binds) > 0 {
		excess -= binds[len(binds)-1].size()
		binds = binds[:len(binds)-1]
	}
	return binds
}

// altered applies the faults that need the answer in parts.
func (s *session) altered(p *gosnmp.SnmpPacket, out []byte, acct *account, st *state) []byte {
	s.count(func(c *Counts) { c.Rows += len(p.Variables) })
	if st.faults.WrongRequestID == 0 && st.faults.Alter == nil {
		return out
	}
	p.RequestID += st.faults.WrongRequestID
	if st.faults.Alter != nil {
		st.faults.Alter(p)
	}
	out, err := marshal(p, acct)
	if err != nil {
		return nil
	}
	return out
}

// envelope is a response to q without its PDU, protected as q was.
func (s *session) envelope(q *gosnmp.SnmpPacket, acct *account, st *state) *gosnmp.SnmpPacket {
	p := &gosnmp.SnmpPacket{Version: q.Version, Community: q.Community}
	if q.Version != gosnmp.Version3 {
		return p
	}
	params := acct.params.Copy().(*gosnmp.UsmSecurityParameters)
	params.AuthoritativeEngineBoots, params.AuthoritativeEngineTime = st.boots, st.engineTime()
	p.MsgID = q.MsgID
	p.MsgFlags = q.MsgFlags & gosnmp.AuthPriv
	p.MsgMaxSize = 65507 // what UDP over IPv4 can bring here
	p.SecurityModel = gosnmp.UserSecurityModel
	p.SecurityParameters = params
	p.ContextEngineID, p.ContextName = s.engine, q.ContextName
	return p
}

// marshal encodes p; a private message gets a salt that was not used before.
func marshal(p *gosnmp.SnmpPacket, acct *account) ([]byte, error) {
	if acct != nil && p.MsgFlags&gosnmp.AuthPriv == gosnmp.AuthPriv {
		if err := acct.params.InitPacket(p); err != nil {
			return nil, err
		}
	}
	return p.MarshalMsg()
}
