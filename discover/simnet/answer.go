package simnet

import (
	"slices"
	"strings"

	"github.com/gosnmp/gosnmp"
)

// reply is what a request is answered with, before it is encoded.
type reply struct {
	status gosnmp.SNMPError
	index  uint8 // of the binding that status is about, from one
	binds  []bind
	bulk   bool // may be cut short where it does not fit
}

// answer is the datagram to send for the one received, nil for none, and the
// faults to send it with.
func (s *session) answer(b []byte) ([]byte, Faults) {
	st := s.state()
	q, err := s.open.SnmpDecodePacket(b)
	if q.Version == gosnmp.Version3 {
		return s.answerV3(b, q, &st), st.faults
	}
	if err != nil || q.Version > gosnmp.Version2c {
		s.malformed()
		return nil, st.faults
	}
	if !s.countRequest(q) {
		return nil, st.faults
	}
	known := s.knows(q.Community, &st)
	s.count(func(c *Counts) {
		tally(&c.Communities, q.Community)
		if !known {
			c.Strangers++
		}
	})
	if !known {
		return nil, st.faults // RFC 1157, 4.1: what is not authentic is dropped
	}
	return s.respond(q, nil, &st), st.faults
}

// knows reports whether a community may read. One that names a context by an index
// reads that context's rows from then on.
func (s *session) knows(community string, st *state) bool {
	if slices.Contains(s.communities, community) {
		return true
	}
	name, index, _ := strings.Cut(community, "@")
	if !slices.Contains(s.communities, name) {
		return false
	}
	return s.enter(st, func(c within) bool { return c.index != "" && c.index == index })
}

// enter lets st see the rows of the first such context, if there is one.
func (s *session) enter(st *state, is func(within) bool) bool {
	i := slices.IndexFunc(s.contexts, is)
	if i >= 0 {
		st.rows = s.contexts[i].rows
	}
	return i >= 0
}

// respond answers a request that was let in; acct is nil but for version 3.
func (s *session) respond(q *gosnmp.SnmpPacket, acct *account, st *state) []byte {
	if !wellFormed(q) {
		s.malformed()
		return nil
	}
	var r reply
	switch q.PDUType {
	case gosnmp.GetRequest:
		r = st.get(q)
	case gosnmp.GetNextRequest:
		r = st.getNext(q)
	case gosnmp.GetBulkRequest:
		if over := st.faults.IgnoreBulkOver; over > 0 && int(q.MaxRepetitions) > over {
			s.count(func(c *Counts) { c.Suppressed++ })
			return nil
		}
		r = st.getBulk(q)
	case gosnmp.SetRequest:
		r = refuseSet(q)
	}
	out := s.encode(q, r, acct, st)
	if out == nil {
		s.malformed()
	}
	return out
}

// wellFormed reports whether q can be answered: GETBULK is not of version 1
// (RFC 3416), request IDs are within Integer32, and names within RFC 2578, 7.1.3.
func wellFormed(q *gosnmp.SnmpPacket) bool {
	if q.PDUType == gosnmp.GetBulkRequest && q.Version == gosnmp.Version1 || q.RequestID > 1<<31-1 {
		return false
	}
	return !slices.ContainsFunc(q.Variables, func(v gosnmp.SnmpPDU) bool {
		_, err := parseOID(v.Name)
		return err != nil
	})
}

// asked is the name of a binding. wellFormed has seen that it is one.
func asked(v gosnmp.SnmpPDU) oid {
	o, err := parseOID(v.Name)
	if err != nil {
		panic("simnet: name not checked: " + err.Error())
	}
	return o
}

// get answers as RFC 3416, 4.2.1, and for version 1 as RFC 1157, 4.1.2.
func (st *state) get(q *gosnmp.SnmpPacket) reply {
	var r reply
	for i, v := range q.Variables {
		o := asked(v)
		if to, ok := st.faults.rename[o.String()]; ok {
			o = to
		}
		b := st.lookup(o)
		if q.Version == gosnmp.Version1 && unknownToV1(b.value.kind) {
			return noSuchName(i)
		}
		r.binds = append(r.binds, b)
	}
	return r
}

func (st *state) lookup(o oid) bind {
	i, found := st.rows.find(o)
	switch {
	case found:
		return bind{o, st.rows[i].value.at(st.up)}
	case st.rows.knowsObject(o):
		return bind{o, Value{kind: gosnmp.NoSuchInstance}}
	}
	return bind{o, Value{kind: gosnmp.NoSuchObject}}
}

// getNext answers as RFC 3416, 4.2.2, and for version 1 as RFC 1157, 4.1.3.
func (st *state) getNext(q *gosnmp.SnmpPacket) reply {
	var r reply
	for i, v := range q.Variables {
		b := st.next(asked(v))
		for q.Version == gosnmp.Version1 && b.value.kind == gosnmp.Counter64 {
			b = st.next(b.oid) // passed over, as if it were not there (RFC 3584, 4.2.2.1)
		}
		if q.Version == gosnmp.Version1 && unknownToV1(b.value.kind) {
			return noSuchName(i)
		}
		r.binds = append(r.binds, b)
	}
	return r
}

// next is the row behind o, or the end of the view under o's own name.
func (st *state) next(o oid) bind {
	if n, ok := st.faults.Endless.next(o); ok {
		return bind{n, Text("no end")}
	}
	i := st.rows.after(o)
	if i == len(st.rows) {
		return bind{o, Value{kind: gosnmp.EndOfMibView}}
	}
	return bind{st.rows[i].oid, st.rows[i].value.at(st.up)}
}

// getBulk answers as RFC 3416, 4.2.3. It stops where no more can fit, or after
// a repetition that found nothing but ends.
func (st *state) getBulk(q *gosnmp.SnmpPacket) reply {
	f := &st.faults
	if f.TooBigOver > 0 && int(q.MaxRepetitions) > f.TooBigOver {
		return reply{status: gosnmp.TooBig}
	}
	r := reply{bulk: true}
	size := 0
	add := func(o oid) oid {
		b := st.next(o)
		size += b.size()
		r.binds = append(r.binds, b)
		return b.oid
	}
	once := min(int(q.NonRepeaters), len(q.Variables))
	for _, v := range q.Variables[:once] {
		add(asked(v))
	}
	var at []oid
	for _, v := range q.Variables[once:] {
		at = append(at, asked(v))
	}
	for n := 0; n < int(q.MaxRepetitions) && len(at) > 0 && size <= maxMessage; n++ {
		for i := range at {
			at[i] = add(at[i])
		}
		ended := !slices.ContainsFunc(r.binds[len(r.binds)-len(at):], func(b bind) bool { return b.value.kind != gosnmp.EndOfMibView })
		if ended {
			break
		}
	}
	if f.BulkRows > 0 && len(r.binds) > f.BulkRows {
		r.binds = r.binds[:f.BulkRows]
	}
	return r
}

// refuseSet answers a SET: notWritable (RFC 3416, 4.2.5), or readOnly for
// version 1 (RFC 1157, 4.1.1).
func refuseSet(q *gosnmp.SnmpPacket) reply {
	r := reply{status: gosnmp.NotWritable, index: 1}
	if q.Version == gosnmp.Version1 {
		r.status = gosnmp.ReadOnly
	}
	if len(q.Variables) == 0 {
		r.index = 0
	}
	return r
}

// noSuchName refuses the binding at position i of a request of version 1. The
// index has one octet in the codec; a request with more bindings does not fit
// in a message anyway.
func noSuchName(i int) reply {
	return reply{status: gosnmp.NoSuchName, index: uint8(min(i+1, 255))}
}

func unknownToV1(kind gosnmp.Asn1BER) bool {
	switch kind {
	case gosnmp.Counter64, gosnmp.NoSuchObject, gosnmp.NoSuchInstance, gosnmp.EndOfMibView:
		return true
	}
	return false
}
