package simnet

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"
	"time"

	"github.com/gosnmp/gosnmp"
)

// maxMessage is the largest message an agent sends, in octets: what RFC 3417,
// 3.2 recommends, and what fits in an Ethernet frame.
const maxMessage = 1472

// defaultEngine is an engine ID of octets under the enterprise number for
// documentation, 32473 (RFC 5612, from memory; format 5 of RFC 3411, SnmpEngineID).
const defaultEngine = "\x80\x00\x7e\xd9\x05simnet"

// AgentOptions describe an agent. With the zero value it has no rows and
// answers nobody but a v3 discovery.
type AgentOptions struct {
	Communities []string  // that may read over versions 1 and 2c
	Users       []User    // that may read over version 3
	Engine      string    // snmpEngineID, 5 to 32 octets, not text; empty: the same for all such agents
	Boots       uint32    // snmpEngineBoots; 0: 1
	Started     time.Time // when the agent came up, for sysUpTime and the engine's clock; zero: now
	Rows        []Row     // the first rows
	Contexts    []Context // that it has beside the default one
}

// Context is another view of an agent, such as the bridge of one VLAN. Its rows do
// not change; a column that it lacks is not looked for elsewhere.
type Context struct {
	Name  string // the context name of version 3
	Index string // over versions 1 and 2c: what follows "@" behind a community
	Rows  []Row
}

// within is a context with its rows in order.
type within struct {
	name, index string
	rows        view
}

// Agent answers SNMP requests from its rows. All methods may be called at once,
// also while it serves.
type Agent struct {
	engine      string
	communities []string
	users       []*account
	contexts    []within

	mu      sync.Mutex
	rows    view
	faults  Faults
	boots   uint32
	started time.Time
	counts  Counts
}

// NewAgent makes an agent. It derives the keys of each user, which hashes a
// megabyte for each password that this process has not met before (RFC 3414,
// A.2). The error joins everything that is wrong with opts.
func NewAgent(opts AgentOptions) (*Agent, error) {
	a := &Agent{engine: opts.Engine, boots: opts.Boots, started: opts.Started}
	if a.engine == "" {
		a.engine = defaultEngine
	}
	if a.boots == 0 {
		a.boots = 1
	}
	if a.started.IsZero() {
		a.started = time.Now()
	}
	var errs []error
	if n := len(a.engine); n < 5 || n > 32 {
		errs = append(errs, fmt.Errorf("engine ID of %d octets: 5 to 32 expected (RFC 3411)", n))
	}
	for _, c := range opts.Communities {
		if n := len(c); n == 0 || n > 127 {
			errs = append(errs, fmt.Errorf("community of %d octets: 1 to 127 expected", n))
		}
	}
	a.communities = slices.Clone(opts.Communities)
	for _, u := range opts.Users {
		acct, err := newAccount(u, a.engine)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		a.users = append(a.users, acct)
	}
	for _, c := range opts.Contexts {
		rows, err := parseRows(c.Rows)
		if err != nil {
			errs = append(errs, fmt.Errorf("context %.32q: %w", c.Name, err))
		}
		a.contexts = append(a.contexts, within{c.Name, c.Index, view(nil).with(rows)})
	}
	errs = append(errs, a.Set(opts.Rows...))
	if err := errors.Join(errs...); err != nil {
		return nil, fmt.Errorf("new agent: %w", err)
	}
	return a, nil
}

// Set adds rows or replaces those with the same OID, all at once. If one is
// malformed, nothing changes and the error names each such row.
func (a *Agent) Set(rows ...Row) error {
	parsed, err := parseRows(rows)
	if err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.rows = a.rows.with(parsed)
	return nil
}

// SetRows puts rows in place of all that the agent had, as Set does.
func (a *Agent) SetRows(rows []Row) error {
	parsed, err := parseRows(rows)
	if err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.rows = view(nil).with(parsed)
	return nil
}

// Delete removes the row at prefix and all rows below it, if there are any.
func (a *Agent) Delete(prefix string) error {
	o, err := parseOID(prefix)
	if err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.rows = a.rows.without(o)
	return nil
}

// SetFaults changes how the agent misbehaves from the next request on.
func (a *Agent) SetFaults(f Faults) error {
	if err := f.prepare(); err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.faults = f
	return nil
}

// Restart makes the agent behave as after a power cut: its uptime and engine
// time begin again at zero, and the engine has booted once more.
func (a *Agent) Restart() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.boots++
	a.started = time.Now()
}

// state is what one request is answered from.
type state struct {
	rows   view
	faults Faults
	boots  uint32
	up     time.Duration
}

func (a *Agent) state() state {
	a.mu.Lock()
	defer a.mu.Unlock()
	return state{a.rows, a.faults, a.boots, time.Since(a.started)}
}

// engineTime is snmpEngineTime (RFC 3411), in seconds.
func (s *state) engineTime() uint32 { return uint32(max(0, s.up/time.Second)) }

// session is one Serve. It has decoders of its own, since gosnmp's change while
// they decode.
type session struct {
	*Agent
	open  *gosnmp.GoSNMP // reads everything but the body of protected messages
	users map[string]*account
}

func (a *Agent) newSession() *session {
	s := &session{Agent: a, users: make(map[string]*account)}
	s.open = decoder(&gosnmp.UsmSecurityParameters{UserName: "-"}, gosnmp.NoAuthNoPriv)
	for _, u := range a.users {
		s.users[u.params.UserName] = u.clone()
	}
	return s
}

// Serve answers requests on conn until ctx is done, and then returns nil. It
// leaves conn open, with a read deadline in the past. Other errors are those of
// reading from conn. Several Serves may run on one agent, each on its own conn.
func (a *Agent) Serve(ctx context.Context, conn net.PacketConn) error {
	ctx, cancel := context.WithCancel(ctx)
	late := newLine()
	var wg sync.WaitGroup
	wg.Go(func() { late.run(ctx) })
	defer wg.Wait()
	defer close(late)
	defer cancel()

	s := a.newSession()
	return readPackets(ctx, conn, func(b []byte, from net.Addr) {
		if !a.arrived() {
			return
		}
		answer, faults := s.answer(b)
		for _, out := range faults.datagrams(answer) {
			via := conn
			if faults.ReplyFrom != nil {
				via = faults.ReplyFrom
			}
			late.put(faults.Delay, func() { a.send(via, out, from) })
		}
	})
}

func (a *Agent) send(via net.PacketConn, b []byte, to net.Addr) {
	_, err := via.WriteTo(b, to)
	a.count(func(c *Counts) {
		c.Sent++
		if err != nil {
			c.Unsent++
		}
	})
}

// arrived counts a datagram and reports whether it is to be answered.
func (a *Agent) arrived() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.counts.Received++
	n := a.faults.DropEvery
	return n <= 0 || a.counts.Received%n != 0
}

// readPackets calls f with each datagram, in a buffer that is used again, until
// ctx is done.
func readPackets(ctx context.Context, conn net.PacketConn, f func(b []byte, from net.Addr)) error {
	if err := conn.SetReadDeadline(time.Time{}); err != nil {
		return fmt.Errorf("clear deadline of %s: %w", conn.LocalAddr(), err)
	}
	woken := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(woken)
		conn.SetReadDeadline(time.Unix(1, 0)) // wakes the read; an error means that conn is closed, which does too
	})
	defer func() {
		if !stop() {
			<-woken
		}
	}()
	buf := make([]byte, 1<<16)
	for {
		n, from, err := conn.ReadFrom(buf)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			return fmt.Errorf("read from %s: %w", conn.LocalAddr(), err)
		}
		f(buf[:n], from)
	}
}
