package snmp

import (
	"context"
	"errors"
	"net"
	"net/netip"
	"sync"
	"time"
)

// Options tune a client. The zero value works.
type Options struct {
	Timeout     time.Duration // for one answer; 0: 2 s. First contact waits half as long
	Retries     int           // repeats of a request without answer; 0: 1, negative: none
	MaxVarbinds int           // values asked for in one request; 0: 60
	MaxRows     int           // rows of one column; 0: 9000
	MaxBytes    int           // octets kept of one walk; 0: 4 MiB
	MaxTotal    int           // octets kept of all walks together; 0: 16 MiB
	MaxTime     time.Duration // for one walk; 0: 1 min
	Sockets     int           // at once, for WalkAll: 1 or 2; 0: 2
	Repetitions int           // working size of an earlier run, from Stats; 0: not known
	Alive       bool          // the host is known to be up: after silence try once unconnected
	Unconnected bool          // take answers from any address (RFC 1122, 4.1.3.5)
}

func (o Options) timeout() time.Duration      { return orDefault(o.Timeout, 2*time.Second) }
func (o Options) firstTimeout() time.Duration { return o.timeout() / 2 }
func (o Options) maxVarbinds() int            { return orDefault(o.MaxVarbinds, 60) }

func (o Options) tries() int {
	if o.Retries < 0 {
		return 1
	}
	return 1 + orDefault(o.Retries, 1)
}

func orDefault[T int | time.Duration](v, unset T) T {
	if v <= 0 {
		return unset
	}
	return v
}

// device is what the sessions of a client share.
type device struct {
	opts Options
	of   *device // the one that a context is of, which counts for it too; nil: none

	mu    sync.Mutex
	stats Stats
	reps  int   // most repetitions that work; 0: no limit known
	width int   // most columns that work in one request; 0: no limit known
	gone  error // it fell silent: nothing more is asked
	kept  int   // octets of all walks
}

func (d *device) count(f func(*Stats)) {
	if d.of != nil {
		d.of.count(f)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	f(&d.stats)
}

// keep counts octets that a walk keeps, and reports whether that is too much.
func (d *device) keep(n int) error {
	if d.of != nil {
		return d.of.keep(n)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept += n; d.kept > orDefault(d.opts.MaxTotal, 16<<20) {
		return errTotal
	}
	return nil
}

func (d *device) giveUp(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.gone = err
}

func (d *device) lost() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.gone
}

// Client reads one device. It is not safe for concurrent use; WalkAll uses two
// sockets by itself. After the device fell silent in mid-run, every later call
// fails at once with ErrNoResponse.
type Client struct {
	target   netip.AddrPort
	cred     *Credentials // behind a pointer, so that printing a Client shows none
	device   *device
	sessions []*session // one, or two once WalkAll needed them
}

// Stats count what a client met. Zero: nothing was asked yet.
type Stats struct {
	Requests     int        // datagrams sent
	Retries      int        // of these, repeats
	Dropped      int        // values for another OID than asked, or of no use
	BadDatagrams int        // datagrams that are no answer to what was asked, or unreadable
	AnsweredFrom netip.Addr // another address of the device, if it answered from one
	Repetitions  int        // rows a column that work, for Options of the next run; 0: no limit met
}

// Dial makes first contact by one small request (version 3: one for the engine,
// one with the user), so that a silent device costs one short time-out. Close
// the client. Errors are a [TargetError].
func Dial(ctx context.Context, target netip.AddrPort, cred Credentials, opts Options) (*Client, error) {
	fail := func(err error) (*Client, error) {
		return nil, &TargetError{Op: "first contact", Target: target, Err: err}
	}
	if err := cred.Validate(); err != nil {
		return fail(err)
	}
	c := newClient(target, cred, opts)
	err := c.contact(ctx, func(s *session, tries int) error { return s.login(ctx, cred, tries) })
	if err != nil {
		c.Close()
		return fail(err)
	}
	return c, nil
}

func newClient(target netip.AddrPort, cred Credentials, opts Options) *Client {
	return &Client{
		target: netip.AddrPortFrom(target.Addr().Unmap(), target.Port()),
		cred:   &cred,
		device: &device{opts: opts, reps: max(0, opts.Repetitions)},
	}
}

// contact opens the first socket and runs greet on it; after silence of a host
// that is known to be up, once more with a socket that takes answers from any
// address.
func (c *Client) contact(ctx context.Context, greet func(s *session, tries int) error) error {
	opts := c.device.opts
	greetOn := func(unconnected bool, tries int) error {
		s, err := openSession(c.target, unconnected, c.device)
		if err != nil {
			return err
		}
		c.sessions = []*session{s}
		return greet(s, tries)
	}
	err := greetOn(opts.Unconnected, opts.tries())
	if !errors.Is(err, ErrNoResponse) || !opts.Alive || opts.Unconnected {
		return err
	}
	if closeErr := c.closeSockets(); closeErr != nil {
		return closeErr
	}
	if again := greetOn(true, 1); !errors.Is(again, ErrNoResponse) {
		return again
	}
	return err
}

// second opens another socket to a device that answers on the first.
func (c *Client) second() (*session, error) {
	if err := c.device.lost(); err != nil {
		return nil, err
	}
	first := c.sessions[0]
	s, err := openSession(c.target, first.unconnected, c.device)
	if err != nil {
		return nil, err
	}
	s.wire = newCommunity(*c.cred) // no codec is shared: decoding writes to it
	if w, ok := first.wire.(*usm); ok {
		if s.wire, err = newUSM(*c.cred, w.engine()); err != nil {
			return nil, errors.Join(err, s.conn.Close())
		}
	}
	c.sessions = append(c.sessions, s)
	return s, nil
}

// Close frees the sockets. Later calls fail with [net.ErrClosed].
func (c *Client) Close() error {
	c.device.giveUp(net.ErrClosed)
	return c.closeSockets()
}

func (c *Client) closeSockets() error {
	var errs []error
	for _, s := range c.sessions {
		if err := s.conn.Close(); !errors.Is(err, net.ErrClosed) {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// Stats are the counts so far.
func (c *Client) Stats() Stats {
	c.device.mu.Lock()
	defer c.device.mu.Unlock()
	st := c.device.stats
	st.Repetitions = c.device.reps
	return st
}

// Engine is the device's SNMP engine; its zero value if version 3 was not used.
func (c *Client) Engine() Engine {
	if len(c.sessions) > 0 {
		if w, ok := c.sessions[0].wire.(*usm); ok {
			return w.engine()
		}
	}
	return Engine{}
}

func (c *Client) errorf(op string, err error) error {
	if err == nil {
		return nil
	}
	return &TargetError{Op: op, Target: c.target, Err: err}
}
