// Package daemon is the service: it runs on schedule, looks each minute whether
// something changed, keeps the mails and answers at the control socket. It wires
// what the other packages do; what is owed is always read from the logbook, so a
// kill at any moment loses nothing.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/loopback"
	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/metrics"
	"boundwalk/cmd/internal/notify"
	"boundwalk/cmd/internal/page"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/post"
	"boundwalk/cmd/internal/report"
	"boundwalk/cmd/internal/schedule"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/store"
)

// DefaultSocket is where the daemon answers unless the plan says otherwise.
const DefaultSocket = "/run/boundwalk/control.sock"

// Options say what to serve. PlanPath, Book and Report are required.
type Options struct {
	PlanPath    string
	LogbookPath string // for the status
	Book        *store.Logbook
	Secrets     func(inventory.SecretRef) (string, error)
	Maker       func(inventory.MAC) string
	Log         *slog.Logger // nil: silent
	Version     string

	// Report makes of a run what the control socket hands out.
	Report func(*pass.Result) (control.Result, error)

	// Booted is when this machine started; zero: not known, then nothing settles.
	Booted time.Time

	// Survey, Pulse and Line look at the network; nil: the real ones. Line
	// reports whether the outside is in reach.
	Survey func(context.Context, *inventory.Plan, discover.Options) *inventory.Evidence
	Pulse  func(context.Context, *inventory.Plan, discover.Options) discover.Beat
	Line   func(context.Context, *inventory.Plan) bool
}

// Daemon serves one plan. Make it with New.
type Daemon struct {
	Options
	plan     *keeper
	worker   *post.Worker
	metrics  *metrics.Metrics
	listener discover.Listener
	requests chan func(context.Context)
	reload   chan struct{}
	started  time.Time
	began    time.Time // when a daemon first served this logbook

	// Only the loop's goroutine touches these.
	facts   facts
	doubt   time.Time // of the run that first missed something before a pulse did; zero: none
	line    line
	owed    string // the week for whose digest a run was made already
	thinned time.Time

	mu    sync.Mutex
	state state
}

// state is what status tells, and what both the loop and others look at.
type state struct {
	snap    *inventory.Snapshot // of the last complete run; nil: none
	again   time.Time           // a run out of the schedule
	why     string              // of that run
	running string              // who asked for the run that is on; empty: none
	part    control.Progress
	sign    time.Time // when the loop last did something
	beat    time.Time // the last pulse
	down    []string  // who did not answer it
	outside string    // up, down; empty: not asked
	problem string    // the last run's error
}

// New reads the plan and what the logbook remembers. The error is a bad plan's
// or the logbook's.
func New(ctx context.Context, opts Options) (*Daemon, error) {
	if opts.Log == nil {
		opts.Log = slog.New(slog.DiscardHandler)
	}
	if opts.Pulse == nil {
		opts.Pulse = discover.Pulse
	}
	if opts.Line == nil {
		opts.Line = outside
	}
	now := time.Now()
	k, err := newKeeper(opts.PlanPath, now)
	if err != nil {
		return nil, err
	}
	d := &Daemon{Options: opts, plan: k, metrics: metrics.New(opts.Version), requests: make(chan func(context.Context)),
		reload: make(chan struct{}, 1), started: now}
	d.worker = &post.Worker{Book: opts.Book, Plan: k.Plan, Secrets: opts.Secrets, Log: opts.Log}
	if d.began, err = began(ctx, opts.Book, now); err != nil {
		return nil, err
	}
	if d.state.snap, _, err = opts.Book.Snapshot(ctx); err != nil {
		return nil, err
	}
	d.state.sign = now
	d.state.again, d.state.why = now.Add(d.settle(now)+time.Second), "start"
	return d, nil
}

// began is when a daemon first served the logbook: no digest is owed for a week before.
func began(ctx context.Context, book *store.Logbook, now time.Time) (time.Time, error) {
	const fact = "serving since"
	text, err := book.Fact(ctx, fact)
	if err != nil {
		return now, err
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	return now, book.SetFact(ctx, fact, now.UTC().Format(time.RFC3339))
}

const usualBoots = 10 * time.Minute

// settle is how long the site may still be coming up after this machine did.
func (d *Daemon) settle(now time.Time) time.Duration {
	boots := d.plan.Plan().Site.Boots
	if boots == 0 {
		boots = usualBoots
	}
	if d.Booted.IsZero() {
		return 0
	}
	return max(boots-now.Sub(d.Booted), 0)
}

// Reload has the plan read again at once.
func (d *Daemon) Reload() {
	select {
	case d.reload <- struct{}{}:
	default: // it will be
	}
}

// Run serves until ctx ends. A second daemon at the same socket is an error.
func (d *Daemon) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var wg sync.WaitGroup
	defer wg.Wait()
	if err := d.open(ctx, &wg); err != nil {
		cancel(err)
		return err
	}
	d.warnOfMail()
	d.hasten(ctx)
	wg.Go(func() { d.worker.Run(ctx) })
	wg.Go(func() { d.listen(ctx) })
	wg.Go(func() { d.reloads(ctx) })
	wg.Go(func() {
		if err := notify.Watchdog(ctx, d.alive); err != nil {
			d.Log.Warn("watchdog", "err", err)
		}
	})
	d.tell(notify.Ready(d.line1()))
	d.Log.Info("serving", "version", d.Version, "plan", d.PlanPath, "logbook", d.LogbookPath)
	settle := d.settle(time.Now())
	if settle > 0 {
		d.Log.Info("settling: this machine has just started", "for", settle)
	}
	pulse := d.plan.Plan().Service.Pulse
	loop := schedule.Loop{Next: d.next, Job: d.job, Pulse: d.pulse, Every: pulse, Settle: settle, Requests: d.requests}
	err := loop.Run(ctx)
	d.tell(notify.Stopping())
	d.Log.Info("ending", "why", fmt.Sprint(context.Cause(ctx)))
	return err
}

// open opens the control socket and, where the plan asks for them, the metrics
// and the local page. A directory that is missing costs the socket, not the service.
func (d *Daemon) open(ctx context.Context, wg *sync.WaitGroup) error {
	s := d.plan.Plan().Service
	path := SocketPath(d.plan.Plan())
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		d.Log.Warn("no control socket", "err", err)
	} else {
		l, err := control.Listen(ctx, path, s.Group)
		switch {
		case errors.Is(err, control.ErrInUse):
			return err
		case err != nil:
			d.Log.Warn("no control socket", "err", err)
		default:
			wg.Go(func() {
				if err := control.Serve(ctx, l, d, d.Log); err != nil {
					d.Log.Error("control socket", "err", err)
				}
			})
		}
	}
	m := http.NewServeMux()
	m.Handle("GET /metrics", d.metrics.Handler())
	d.show(ctx, wg, "metrics", s.Metrics, m)
	d.show(ctx, wg, "page", s.Page, page.Handler(d.readPage, d.Log))
	return nil
}

// show answers this machine at addr, if there is one; what hinders it costs what
// would be shown, not the service.
func (d *Daemon) show(ctx context.Context, wg *sync.WaitGroup, what, addr string, h http.Handler) {
	if addr == "" {
		return
	}
	l, err := loopback.Listen(ctx, addr)
	if err != nil {
		d.Log.Warn("not shown", "what", what, "err", err)
		return
	}
	wg.Go(func() {
		if err := loopback.Serve(ctx, l, h, d.Log); err != nil {
			d.Log.Error("shown no longer", "what", what, "err", err)
		}
	})
}

// readPage gathers the local page.
func (d *Daemon) readPage(ctx context.Context) (report.Site, error) {
	plan := d.plan.Plan()
	site, err := page.Read(ctx, d.Book, plan, time.Now())
	site.Notices, site.Refresh = d.doubts(plan), plan.Service.Pulse
	return site, err
}

// SocketPath is where the daemon of the plan answers.
func SocketPath(plan *inventory.Plan) string {
	if plan.Service.Socket != "" {
		return plan.Service.Socket
	}
	return DefaultSocket
}

// relisten is how long after trouble listening is tried again: an interface may come back.
const relisten = 10 * time.Minute

// listen hears ARP between the runs, as long as that is allowed.
func (d *Daemon) listen(ctx context.Context) {
	said := ""
	for ctx.Err() == nil {
		err := d.listener.Run(ctx, d.plan.Plan())
		if err != nil && err.Error() != said {
			said = err.Error()
			d.Log.Info("not listening between runs", "err", err)
		}
		wait(ctx, relisten)
	}
}

// wait sleeps until ctx ends.
func wait(ctx context.Context, for_ time.Duration) {
	timer := time.NewTimer(for_)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}

func (d *Daemon) reloads(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-d.reload:
		}
		d.tell(notify.Reloading())
		d.readPlan(true)
		d.hasten(ctx) // whoever mends the way for mail waits for it
		d.tell(notify.Ready(d.line1()))
	}
}

// hasten has the mails that wait tried at once, however long their pause is: a
// person has just had a hand in it, or the way to the server is back.
func (d *Daemon) hasten(ctx context.Context) {
	if err := d.Book.Hasten(ctx, time.Now()); err != nil {
		d.Log.Error("mail spool", "err", err)
	}
	d.worker.Wake()
}

// readPlan takes a changed plan into use. A bad one is told and the last good one stays.
func (d *Daemon) readPlan(force bool) {
	changed, err := d.plan.Refresh(time.Now(), force)
	switch {
	case err != nil:
		d.Log.Error("the plan is bad; the last good one stays in use", "err", err)
	case changed:
		d.Log.Info("the plan was read", "plan", d.PlanPath)
		d.warnOfMail()
	}
}

// warnOfMail says early what often keeps mail from arriving.
func (d *Daemon) warnOfMail() {
	p := d.plan.Plan()
	if p.Service.Mail.Server == "" {
		d.Log.Warn("the plan names no mail server: nothing is mailed")
		return
	}
	cfg, err := post.Config(p, d.Secrets)
	if err != nil {
		d.Log.Error("mail settings", "err", err)
		return
	}
	for _, w := range mail.Warnings(cfg, p.Service.Mail.From) {
		d.Log.Warn("mail settings", "warning", w)
	}
}

// patience is how long a single job may take; a run has a deadline of its own below it.
const patience = 15 * time.Minute

// alive is what the watchdog asks.
func (d *Daemon) alive() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return time.Since(d.state.sign) < patience+d.plan.Plan().Service.Pulse+d.plan.Plan().Site.Boots+usualBoots
}

// tell logs what kept the service manager from being told.
func (d *Daemon) tell(err error) {
	if err != nil {
		d.Log.Warn("service manager", "err", err)
	}
}
