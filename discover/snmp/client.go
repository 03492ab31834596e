package snmp

import (
	"context"
	"errors"
	"net/netip"
	"time"
)

// Options tune a client. The zero value works.
type Options struct {
	Timeout     time.Duration // for one answer; 0: 2 s. The first answer is waited for half as long
	Retries     int           // repeats of a request without answer; 0: 1, negative: none
	MaxVarbinds int           // values asked for in one request; 0: 60
	MaxRows     int           // rows of one column; 0: 9000
	MaxBytes    int           // octets of names and values of one walk; 0: 8 MiB
	MaxTime     time.Duration // for one walk; 0: 1 min
	Sockets     int           // at once, for WalkAll: 1 or 2; 0: 2
	Repetitions int           // working size of an earlier run, from Stats; 0: not known
	Alive       bool          // the host is known to be up: after silence try once unconnected
	Unconnected bool          // take answers from any address (RFC 1122, 4.1.3.5)
}

// Client reads one device. It is not safe for concurrent use; WalkAll uses two
// sockets by itself.
type Client struct{}

// Stats count what a client met. Zero: nothing was asked yet.
type Stats struct {
	Requests     int        // datagrams sent
	Retries      int        // of these, repeats
	Dropped      int        // values for another OID than asked, or of impossible range
	BadDatagrams int        // answers that are no SNMP or answer another question
	AnsweredFrom netip.Addr // another address of the device, if it answered from one
	Repetitions  int        // rows a column that worked after a step-down; 0: never stepped down
}

// Dial makes one small request (first contact), so that a silent device costs
// one short time-out. Close the client. Errors are a [TargetError].
func Dial(ctx context.Context, target netip.AddrPort, cred Credentials, opts Options) (*Client, error) {
	return nil, errors.ErrUnsupported
}

// Close frees the sockets.
func (c *Client) Close() error { return nil }

// Get reads single instances, as many as asked for: the answer has one row for
// each OID, in the order asked. NoSuchObject and NoSuchInstance are values; Null
// is one that the agent failed on or that did not match. The error says why
// nothing could be read.
func (c *Client) Get(ctx context.Context, oids ...OID) ([]Row, error) {
	return nil, errors.ErrUnsupported
}

// Walk reads the subtrees below columns in lock step, in one request where they
// fit. A column may not lie below another.
func (c *Client) Walk(ctx context.Context, columns ...OID) Table { return Table{} }

// WalkAll walks each group, over two sockets where Options allow. The answer has
// one table for each group, in the order given.
func (c *Client) WalkAll(ctx context.Context, groups ...[]OID) []Table {
	return make([]Table, len(groups))
}

// Stats are the counts so far.
func (c *Client) Stats() Stats { return Stats{} }

// Engine is the device's SNMP engine; its zero value if version 3 was not used.
func (c *Client) Engine() Engine { return Engine{} }
