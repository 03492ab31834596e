package simnet

import (
	"fmt"
	"net"
	"slices"
	"time"

	"github.com/gosnmp/gosnmp"
)

// Faults are ways to misbehave. The zero value is an agent that behaves.
type Faults struct {
	Silent    bool           // no answer is sent; Garbage still is
	DropEvery int            // every nth datagram is not looked at; 0: none is dropped
	Delay     time.Duration  // before each datagram is sent; the agent goes on reading
	Duplicate bool           // each answer is sent twice
	Garbage   []byte         // sent before each answer; empty: nothing
	CutTo     int            // octets of an answer that are sent; 0: all
	ReplyFrom net.PacketConn // answers leave by this socket; nil: by the one that was asked

	IgnoreBulkOver int // a GETBULK of more repetitions is not answered; 0: all are
	TooBigOver     int // a GETBULK of more repetitions is answered tooBig, without rows; 0: none is
	BulkRows       int // most rows in an answer to GETBULK; 0: what fits

	WrongRequestID uint32            // added to the request ID of each answer
	Rename         map[string]string // a GET of the first OID is answered with the row of the second, under its name
	Endless        *Endless          // rows that never end

	// Alter changes an answer before it is encoded: another version, community,
	// type, count of rows. It may be called for several requests at once.
	Alter func(*gosnmp.SnmpPacket)

	rename map[string]oid
}

// Endless makes GETNEXT and GETBULK below a column find another row for ever.
type Endless struct {
	Under string   // the column
	Cycle []uint32 // the last numbers of the rows, over and over, each following the one before; empty: 1, 2, 3 and on

	under oid
}

// prepare checks the OIDs and keeps copies of what the caller might change.
func (f *Faults) prepare() error {
	f.Garbage = slices.Clone(f.Garbage)
	f.rename = make(map[string]oid, len(f.Rename))
	for from, to := range f.Rename {
		asked, err := parseOID(from)
		if err != nil {
			return fmt.Errorf("faults: rename: %w", err)
		}
		if f.rename[asked.String()], err = parseOID(to); err != nil {
			return fmt.Errorf("faults: rename: %w", err)
		}
	}
	if f.Endless == nil {
		return nil
	}
	under, err := parseOID(f.Endless.Under)
	if err != nil {
		return fmt.Errorf("faults: endless: %w", err)
	}
	f.Endless = &Endless{f.Endless.Under, slices.Clone(f.Endless.Cycle), under}
	return nil
}

// next is the row behind o, if o lies at or below the column.
func (e *Endless) next(o oid) (oid, bool) {
	if e == nil || !o.under(e.under) {
		return nil, false
	}
	var index uint32
	switch {
	case len(e.Cycle) > 0:
		index = e.Cycle[0]
		if i := slices.Index(e.Cycle, o[len(o)-1]); len(o) > len(e.under) && i >= 0 {
			index = e.Cycle[(i+1)%len(e.Cycle)]
		}
	case len(o) > len(e.under):
		index = o[len(e.under)] + 1
	default:
		index = 1
	}
	return append(slices.Clone(e.under), index), true
}

// datagrams are what goes out for an answer; nil is none.
func (f *Faults) datagrams(answer []byte) [][]byte {
	if answer == nil {
		return nil
	}
	var out [][]byte
	if len(f.Garbage) > 0 {
		out = append(out, f.Garbage)
	}
	if f.Silent {
		return out
	}
	if f.CutTo > 0 && f.CutTo < len(answer) {
		answer = answer[:f.CutTo]
	}
	out = append(out, answer)
	if f.Duplicate {
		out = append(out, answer)
	}
	return out
}
