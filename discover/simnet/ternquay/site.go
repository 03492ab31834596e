package ternquay

import (
	"context"
	_ "embed" // the plan
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/gosnmp/gosnmp"

	"boundwalk/discover/simnet"
)

// Site is the site while it is served. Its methods may be called at once.
type Site struct {
	mu    sync.Mutex
	world *world
	nodes []*node
	lost  bool
	after bool

	cancel context.CancelFunc
	served sync.WaitGroup
	failed []error // of nodes, read once served is done
}

// node is one agent of the site.
type node struct {
	name    string
	conn    net.PacketConn
	agent   *simnet.Agent
	started time.Time
	meters  map[int]meter // of its ports
	silent  bool
}

// The accounts of the agents, which WriteSecrets writes for boundwalk. They open
// nothing but these agents.
const (
	community = "tern-quay-example"
	user      = "audit"
	authPass  = "slack water in the basin"
	privPass  = "half tide at the slip"
)

// Start serves the site as planned, each agent on a free port of 127.0.0.1,
// until ctx is done or the site is closed.
func Start(ctx context.Context) (*Site, error) {
	now := time.Now()
	s := &Site{world: newWorld(now)}
	ctx, s.cancel = context.WithCancel(ctx)
	for i := range s.world.boxes {
		b := &s.world.boxes[i]
		if b.shows == "" {
			continue
		}
		n, err := newNode(b, now)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("agent of %s: %w", b.name, err), s.Close())
		}
		s.nodes = append(s.nodes, n)
	}
	if err := s.tell(now); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	s.failed = make([]error, len(s.nodes))
	for i, n := range s.nodes {
		s.served.Go(func() { s.failed[i] = n.agent.Serve(ctx, n.conn) })
	}
	return s, nil
}

// Close ends the site, after all that it started.
func (s *Site) Close() error {
	s.cancel()
	s.served.Wait()
	errs := s.failed
	for _, n := range s.nodes {
		errs = append(errs, n.conn.Close())
	}
	return errors.Join(errs...)
}

func newNode(b *box, now time.Time) (*node, error) {
	n := &node{name: b.name, started: now.Add(-b.up), meters: map[int]meter{}}
	opts := simnet.AgentOptions{Engine: "\x80\x00\x7e\xd9\x04" + b.name, Boots: 3, Started: n.started, Communities: []string{community}}
	switch {
	case b.shows == router, b.name == "quay-switch":
		opts.Communities = nil
		opts.Users = []simnet.User{{Name: user, Auth: gosnmp.SHA256, AuthPass: authPass, Priv: gosnmp.AES, PrivPass: privPass}}
	case b.name == "slip-cam":
		opts.Communities = append(opts.Communities, "public") // as it came from its maker
	}
	var err error
	if n.agent, err = simnet.NewAgent(opts); err != nil {
		return nil, err
	}
	n.conn, err = net.ListenPacket("udp4", "127.0.0.1:0")
	return n, err
}

// tell gives every agent what it knows of the world now.
func (s *Site) tell(now time.Time) error {
	var errs []error
	for _, n := range s.nodes {
		b := s.world.box(n.name)
		rows := append(s.world.rows(b, n.started), n.count(s.world, b, now)...)
		errs = append(errs, n.agent.SetRows(rows))
		if dark := !s.world.lit(b); dark != n.silent {
			n.silent = dark
			errs = append(errs, n.agent.SetFaults(simnet.Faults{Silent: dark}))
		}
	}
	return errors.Join(errs...)
}

// Lose makes dark what is to be missed. A device is missing only after two runs
// in a row, so one run belongs between Lose and Drift.
func (s *Site) Lose() error { return s.change(&s.lost, func(c Change) bool { return c.Lost }) }

// Find brings back what Lose made dark.
func (s *Site) Find() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lost = false
	for _, c := range drift {
		if c.Lost {
			c.undo(s.world)
		}
	}
	return s.tell(time.Now())
}

// Drift changes everything else that Changes lists. What is shown once only, such
// as a restart, is shown by the next run.
func (s *Site) Drift() error { return s.change(&s.after, func(c Change) bool { return !c.Lost }) }

func (s *Site) change(done *bool, which func(Change) bool) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if *done {
		return nil
	}
	*done = true
	now := time.Now()
	for _, c := range drift {
		if !which(c) {
			continue
		}
		c.do(s.world)
		if c.restart != "" {
			s.restart(c.restart, now)
		}
	}
	return s.tell(now)
}

// restart lets a switch, and the agents of all that it feeds, begin anew.
func (s *Site) restart(name string, now time.Time) {
	for _, n := range s.nodes {
		b := s.world.box(n.name)
		up, _ := s.world.parent(b)
		if n.name != name && (up == nil || up.name != name || b.class == 0) {
			continue
		}
		n.agent.Restart()
		n.started, n.meters = now, map[int]meter{}
	}
}

// Changes is what Lose and Drift change, in that order.
func Changes() []Change { return append([]Change{}, drift...) }

// Expected lists the keys of the findings that the run after Drift must have,
// and no others.
func Expected() []string {
	keys := append([]string{}, standing...)
	for _, c := range drift {
		keys = append(keys, c.Finding)
	}
	return keys
}

//go:embed plan.yaml
var planText string

// PlanYAML is the plan of the site as it was built, with the addresses at which
// its agents answer now.
func (s *Site) PlanYAML() []byte {
	text := planText
	for _, n := range s.nodes {
		text = strings.ReplaceAll(text, "agent: <"+n.name+">", "agent: "+n.conn.LocalAddr().String())
	}
	return []byte(text)
}

// WriteSecrets writes the secrets that the plan refers to into a directory, so
// that only their owner may read them.
func WriteSecrets(dir string) error {
	for name, secret := range map[string]string{"yard.community": community, "core.auth": authPass, "core.priv": privPass} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(secret+"\n"), 0o600); err != nil {
			return err
		}
	}
	return nil
}
