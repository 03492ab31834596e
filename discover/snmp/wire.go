package snmp

import (
	"errors"
	"fmt"
	"slices"

	"github.com/gosnmp/gosnmp"
)

// A request is one PDU to send. Its names are OIDs in the order asked.
type request struct {
	pdu  gosnmp.PDUType
	oids []OID
	reps int // max-repetitions, for a GetBulk
}

// A wire encodes requests and decodes answers in one version, with one set of
// credentials. gosnmp gives the codec; its own exchange is not used, since it
// takes request ID 0, another community or an echoed request for an answer,
// spends a retry on each datagram it cannot read, and loses USM reports.
type wire interface {
	// encode gives the datagram for q. The id is the request ID and in version 3
	// also the message ID.
	encode(q request, id uint32) ([]byte, error)
	// decode gives the answer to one of ids. errStray: b is something else, keep
	// waiting. errGarbled: it is the answer, but cannot be read. Any other error is
	// what the device had to say.
	decode(b []byte, ids []uint32) (*gosnmp.SnmpPacket, error)
	// room is how many octets of names fit in a datagram that every agent takes.
	room() int
}

var (
	errStray   = errors.New("answers another question")
	errGarbled = errors.New("answer cannot be decoded")
)

// Every agent must take messages of 484 octets (RFC 3417, 3.2).
const minMaxMessage = 484

// community is the wire of versions 1 and 2c.
type community struct{ codec *gosnmp.GoSNMP }

func newCommunity(cred Credentials) *community {
	g := &gosnmp.GoSNMP{Version: gosnmp.Version2c, Community: string(cred.Community)}
	if cred.Version == "1" {
		g.Version = gosnmp.Version1
	}
	return &community{g}
}

func (w *community) encode(q request, id uint32) ([]byte, error) {
	p := w.codec.MkSnmpPacket(q.pdu, nullVarbinds(q.oids), 0, uint32(q.reps))
	p.RequestID = id
	return p.MarshalMsg()
}

func (w *community) decode(b []byte, ids []uint32) (*gosnmp.SnmpPacket, error) {
	p, err := guard(func() (*gosnmp.SnmpPacket, error) { return w.codec.SnmpDecodePacket(b) })
	switch {
	case p == nil || p.Version != w.codec.Version || p.Community != w.codec.Community ||
		p.PDUType != gosnmp.GetResponse || !slices.Contains(ids, p.RequestID):
		return nil, errStray
	case err != nil:
		return nil, fmt.Errorf("%w: %w", errGarbled, err)
	}
	return p, nil
}

func (w *community) room() int { return minMaxMessage - 40 - len(w.codec.Community) }

func nullVarbinds(oids []OID) []gosnmp.SnmpPDU {
	vars := make([]gosnmp.SnmpPDU, len(oids))
	for i, o := range oids {
		vars[i] = gosnmp.SnmpPDU{Name: o.String(), Type: gosnmp.Null}
	}
	return vars
}

// guard turns a panic of the codec, which reads what anyone may send, into an
// error.
func guard(decode func() (*gosnmp.SnmpPacket, error)) (p *gosnmp.SnmpPacket, err error) {
	defer func() {
		if r := recover(); r != nil {
			p, err = nil, fmt.Errorf("codec: %v", r)
		}
	}()
	return decode()
}

// varbindSize is the octets that o takes as a name with a NULL value, with
// headers of two octets each (RFC 3417, section 8).
func varbindSize(o OID) int {
	n := 2 + 2 + 2
	for _, id := range o {
		for n++; id >= 0x80; id >>= 7 {
			n++
		}
	}
	return n
}
