package discover

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"sync"
	"time"

	"boundwalk/discover/arp"
	"boundwalk/inventory"
)

// Listener hears ARP on the attached networks between two runs, so that what
// comes and goes in between is seen, and what sleeps while it is asked is not
// missed. Its zero value is ready. It sends nothing.
type Listener struct {
	mu    sync.Mutex
	turn  context.CancelFunc // begins to listen anew; nil: nobody listens
	heard []inventory.Sighting
}

// mostListened bounds what is kept between two runs.
const mostListened = 4096

// Run listens until ctx ends. It fails where no attached network can be
// listened to, such as for want of the right to open a raw socket.
func (l *Listener) Run(ctx context.Context, plan *inventory.Plan) error {
	var ignore []netip.Prefix
	for _, n := range plan.Networks {
		if n.Unknown == inventory.UnknownCount {
			ignore = append(ignore, n.Subnet)
		}
	}
	for ctx.Err() == nil {
		turn, cancel := context.WithCancel(ctx)
		l.mu.Lock()
		l.turn = cancel
		l.mu.Unlock()
		err := l.listen(turn, plan, ignore)
		cancel()
		if err != nil && ctx.Err() == nil {
			return err
		}
	}
	return nil
}

func (l *Listener) listen(ctx context.Context, plan *inventory.Plan, ignore []netip.Prefix) error {
	var wg sync.WaitGroup
	var done []string
	errs := make(chan error, 64)
	for _, a := range attached(plan) {
		n, ok := plan.NetworkNamed(a.Network)
		if !ok || n.Unknown == inventory.UnknownCount || !a.Up || slices.Contains(done, a.Interface) || len(done) == cap(errs) {
			continue
		}
		done = append(done, a.Interface)
		wg.Go(func() {
			_, err := arp.Listen(ctx, a.Interface, arp.ListenOptions{Ignore: ignore, Each: func(r arp.Reply) { l.add(a.Interface, r) }})
			if err != nil {
				errs <- err
			}
		})
	}
	wg.Wait()
	close(errs)
	var all []error
	for err := range errs {
		all = append(all, err)
	}
	switch {
	case len(done) == 0:
		return errors.New("no attached network to listen on")
	case len(all) == len(done):
		return fmt.Errorf("listen: %w", errors.Join(all...))
	}
	return nil
}

func (l *Listener) add(iface string, r arp.Reply) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.heard) < mostListened {
		l.heard = append(l.heard, sighted(r, inventory.SourceListen, iface, true))
	}
}

// justHeard is how old a word may be to prove that a camera or a switch is
// there now: they answer when they are asked, so an old word must not hide
// that they just went.
const justHeard = 30 * time.Second

// Source adds what was heard since the last call to a run's evidence.
func (l *Listener) Source(plan *inventory.Plan) Source {
	return func(_ context.Context, ev *inventory.Evidence) {
		l.mu.Lock()
		heard := l.heard
		l.heard = nil
		if l.turn != nil {
			l.turn()
		}
		l.mu.Unlock()
		now := time.Now()
		awake := map[inventory.MAC]bool{}
		for i := range plan.Devices {
			if d := &plan.Devices[i]; d.Role.IsInfrastructure() || d.Role == inventory.Camera || d.Role == inventory.Recorder {
				for _, m := range d.MACs {
					awake[m] = true
				}
			}
		}
		if len(heard) >= mostListened {
			ev.Capped = append(ev.Capped, fmt.Sprintf("more senders were heard between two runs than the %d that are kept", mostListened))
		}
		for _, s := range heard {
			s.Live = !awake[s.MAC] || now.Sub(s.Seen) <= justHeard
			ev.Sightings = append(ev.Sightings, s)
		}
	}
}
