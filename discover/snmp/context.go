package snmp

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// ErrOneContext is returned where the credentials themselves name one context.
var ErrOneContext = errors.New("the credentials are those of one context")

// Within makes first contact with another context of the client's agent, under the
// same credentials: in version 3 by its name, in versions 1 and 2c, which have no
// contexts, by the community with "@" and the index behind it (common practice, in no
// RFC). Close it, before or after c; silence there says nothing of c. Errors
// are a [TargetError]; ErrNoResponse and ErrUnknownContext say that there is none.
func (c *Client) Within(ctx context.Context, name, index string) (*Client, error) {
	fail := func(err error) (*Client, error) { return nil, c.errorf("context "+name, err) }
	if err := c.device.lost(); err != nil {
		return fail(err)
	}
	cred, err := c.cred.within(name, index)
	if err != nil {
		return fail(err)
	}
	in := newClient(c.target, cred, c.device.opts)
	in.device.of = c.device
	in.device.opts.Sockets = 1
	s, err := openSession(c.target, c.sessions[0].unconnected, in.device)
	if err != nil {
		return fail(err)
	}
	in.sessions = []*session{s}
	s.wire = newCommunity(cred)
	if w, ok := c.sessions[0].wire.(*usm); ok {
		s.wire, err = newUSM(cred, w.engine())
	}
	if err == nil {
		err = refusal(s.ping(ctx, s.wire, in.device.opts.tries(), in.device.opts.firstTimeout()))
	}
	if err != nil {
		return fail(errors.Join(err, in.closeSockets()))
	}
	return in, nil
}

// within are the credentials for another context.
func (c Credentials) within(name, index string) (Credentials, error) {
	if c.Version == "3" {
		if c.Context != "" {
			return c, ErrOneContext
		}
		c.Context = name
	} else {
		if strings.Contains(string(c.Community), "@") {
			return c, ErrOneContext
		}
		c.Community += Secret("@" + index)
	}
	if err := c.Validate(); err != nil {
		return c, fmt.Errorf("context: %w", err)
	}
	return c, nil
}

// Version is that of the client's credentials: "1", "2c" or "3".
func (c *Client) Version() string { return c.cred.Version }
