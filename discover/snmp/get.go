package snmp

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/gosnmp/gosnmp"
)

// Get reads single instances, as many as asked for: the answer has one row for
// each OID, in the order asked. NoSuchObject and NoSuchInstance are values; Null
// is one that the agent failed on or that did not match. The error, a
// [TargetError], says why the rest could not be asked (silence, cancelled) or
// that all were refused; the rows read before it are there.
func (c *Client) Get(ctx context.Context, oids ...OID) ([]Row, error) {
	g := getter{s: c.sessions[0], rows: make([]Row, len(oids))}
	indexes := make([]int, len(oids))
	for i, o := range oids {
		indexes[i] = i
		g.rows[i].OID = slices.Clone(o)
	}
	opts := c.device.opts
	for len(indexes) > 0 {
		n := fit(indexes, opts.maxVarbinds(), g.s.wire.room(), func(i int) OID { return oids[i] })
		if err := g.batch(ctx, indexes[:n]); err != nil {
			return g.rows, c.errorf("get", err)
		}
		indexes = indexes[n:]
	}
	if g.refused == len(oids) && len(oids) > 0 {
		return g.rows, c.errorf("get", fmt.Errorf("%w: the agent allows none of %d objects", ErrRefused, len(oids)))
	}
	return g.rows, nil
}

// fit is how many of items, at least one, go into one request.
func fit[T any](items []T, most, room int, oid func(T) OID) int {
	for n, it := range items {
		room -= varbindSize(oid(it))
		if n == most || n > 0 && room < 0 {
			return n
		}
	}
	return len(items)
}

type getter struct {
	s       *session
	rows    []Row
	refused int
}

// batch reads the rows at indexes. Whatever goes wrong with a request, the next
// one asks for less: without the OID that the agent named, or for half. So it ends.
func (g *getter) batch(ctx context.Context, indexes []int) error {
	if len(indexes) == 0 {
		return nil
	}
	if err := g.s.device.lost(); err != nil {
		return err
	}
	oids := make([]OID, len(indexes))
	for k, i := range indexes {
		oids[k] = g.rows[i].OID
	}
	opts := g.s.device.opts
	p, err := g.s.ask(ctx, g.s.wire, request{pdu: gosnmp.GetRequest, oids: oids}, opts.tries(), opts.timeout())
	switch {
	case errors.Is(err, errGarbled):
		return g.halve(ctx, indexes)
	case errors.Is(err, ErrNoResponse):
		if gone := g.s.gone(ctx, err); gone != nil {
			return gone
		}
		return g.halve(ctx, indexes)
	case err != nil:
		return err
	case p.Error == gosnmp.NoError:
		return g.take(ctx, indexes, p.Variables)
	case p.Error == gosnmp.TooBig:
		return g.halve(ctx, indexes)
	}
	return g.without(ctx, indexes, p)
}

func (g *getter) halve(ctx context.Context, indexes []int) error {
	if len(indexes) == 1 {
		return nil // it stays Null
	}
	half := len(indexes) / 2
	if err := g.batch(ctx, indexes[:half]); err != nil {
		return err
	}
	return g.batch(ctx, indexes[half:])
}

// take stores values under the OIDs they carry, not by position, and asks again
// for what is missing as long as each answer brings something.
func (g *getter) take(ctx context.Context, indexes []int, vars []gosnmp.SnmpPDU) error {
	open := slices.Clone(indexes)
	dropped := 0
	for _, v := range vars {
		name, err := ParseOID(v.Name)
		k := slices.IndexFunc(open, func(i int) bool { return err == nil && g.rows[i].OID.Compare(name) == 0 })
		if k < 0 {
			dropped++
			continue
		}
		value := valueOf(v)
		if value.Kind == Null || value.Kind == endOfView {
			value = Value{}
			dropped++
		}
		g.rows[open[k]].Value = value
		open = slices.Delete(open, k, k+1)
	}
	g.s.device.count(func(st *Stats) { st.Dropped += dropped })
	if len(open) == len(indexes) {
		return g.halve(ctx, open)
	}
	return g.batch(ctx, open)
}

// without drops the OID that an error status names, and asks for the rest.
// noSuchName is how version 1 says noSuchObject (RFC 3584, 4.1).
func (g *getter) without(ctx context.Context, indexes []int, p *gosnmp.SnmpPacket) error {
	k := int(p.ErrorIndex) - 1
	if len(indexes) == 1 {
		k = 0
	}
	if k < 0 || k >= len(indexes) {
		return g.halve(ctx, indexes)
	}
	switch p.Error {
	case gosnmp.NoSuchName:
		g.rows[indexes[k]].Value = Value{Kind: NoSuchObject}
	case gosnmp.AuthorizationError, gosnmp.NoAccess:
		g.refused++
	}
	return g.batch(ctx, slices.Delete(slices.Clone(indexes), k, k+1))
}

// gone tells after silence whether the device is: then it is err, and nothing
// more is asked. A device that answers a small request is there; what it cannot
// do is answer the large one.
func (s *session) gone(ctx context.Context, err error) error {
	opts := s.device.opts
	_, pingErr := s.ping(ctx, s.wire, opts.tries(), opts.timeout())
	switch {
	case pingErr == nil, errors.Is(pingErr, errGarbled):
		return nil
	case errors.Is(pingErr, ErrNoResponse):
		s.device.giveUp(err)
		return err
	}
	return pingErr
}
