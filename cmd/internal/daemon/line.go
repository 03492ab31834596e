package daemon

import (
	"context"
	"fmt"
	"net"
	"time"

	"boundwalk/cmd/internal/post"
	"boundwalk/diff/digest"
	"boundwalk/discover"
	"boundwalk/inventory"
)

// line is what is known of the way to the outside.
type line struct {
	failed time.Time // the first of the tries that failed in a row; zero: the last went well
	tries  int
	moot   bool // the plan names nothing to try, and no outage is open for that
}

const (
	lineTries = 2                // failures in a row that make an outage
	lineWait  = 3 * time.Second  // for one look
	longLine  = 10 * time.Minute // an outage from here on is worth a mail of its own when it is over
)

// checkLine looks whether the outside is in reach, where the plan names something to
// try. A gateway that is down is another finding, and no fault of the line.
func (d *Daemon) checkLine(ctx context.Context, plan *inventory.Plan, b discover.Beat, now time.Time) {
	if plan.Service.Outside == "" && plan.Service.Lookup == "" {
		d.lineMoot(ctx, now)
		return
	}
	if gatewayDown(plan, b) {
		return
	}
	up := d.Options.Line(ctx, plan)
	if ctx.Err() != nil {
		return
	}
	d.mu.Lock()
	d.state.outside = words(up, "up", "down")
	d.mu.Unlock()
	if up {
		d.line = line{}
		d.lineBack(ctx, plan, now)
		return
	}
	d.line.moot = false
	if d.line.tries++; d.line.tries == 1 {
		d.line.failed = now
	}
	if d.line.tries == lineTries {
		d.Log.Warn("the outside is not in reach", "since", d.line.failed)
		if err := d.Book.Outage(ctx, "internet", d.line.failed); err != nil {
			d.Log.Error("note an outage", "err", err)
			d.line.tries-- // and again with the next pulse
		}
	}
}

// lineMoot ends the outage that lasts when the plan stops naming something to
// try: nothing could ever end it.
func (d *Daemon) lineMoot(ctx context.Context, now time.Time) {
	if d.line.moot {
		return
	}
	d.mu.Lock()
	d.state.outside = ""
	d.mu.Unlock()
	_, _, err := d.Book.OutageOver(ctx, "internet", now)
	if err != nil {
		d.Log.Error("end an outage", "err", err)
	}
	d.line = line{moot: err == nil}
}

// lineBack ends an outage, sends what was kept, and says from when to when it was.
func (d *Daemon) lineBack(ctx context.Context, plan *inventory.Plan, now time.Time) {
	o, was, err := d.Book.OutageOver(ctx, "internet", now)
	if err != nil {
		d.Log.Error("end an outage", "err", err)
	}
	if !was {
		return
	}
	d.Log.Info("the outside is in reach again", "from", o.From, "to", o.To)
	if o.To.Sub(o.From) >= longLine {
		if err := d.tellOutage(ctx, plan, o, now); err != nil {
			d.Log.Error("promise a mail", "err", err)
		}
	}
	d.hasten(ctx)
}

func (d *Daemon) tellOutage(ctx context.Context, plan *inventory.Plan, o inventory.Outage, now time.Time) error {
	loc := plan.Site.Location
	if loc == nil {
		loc = time.UTC
	}
	at := func(t time.Time) string { return t.In(loc).Format("Mon 2 Jan 15:04 -07:00") }
	news := digest.News{Plan: plan, Now: now, Notes: []string{fmt.Sprintf(
		"The internet line was down from %s to %s. Mails that were kept meanwhile come now.", at(o.From), at(o.To))}}
	letters, err := post.News(plan, news, "outage", fmt.Sprint(o.From.Unix()))
	if err != nil {
		return err
	}
	for _, m := range letters {
		if _, err := d.Book.Enqueue(ctx, m, now); err != nil {
			return err
		}
	}
	return nil
}

// gatewayDown reports whether the pulse found a network's gateway silent.
func gatewayDown(plan *inventory.Plan, b discover.Beat) bool {
	for i := range plan.Devices {
		p := &plan.Devices[i]
		up, asked := b.Up[p.Name]
		if !asked || up {
			continue
		}
		for _, n := range plan.Networks {
			if n.Gateway.IsValid() && n.Gateway == p.Address() {
				return true
			}
		}
	}
	return false
}

// outside tries the address that the plan names, then the name.
func outside(ctx context.Context, plan *inventory.Plan) bool {
	ctx, cancel := context.WithTimeout(ctx, 2*lineWait)
	defer cancel()
	if at := plan.Service.Outside; at != "" {
		dialer := net.Dialer{Timeout: lineWait}
		if conn, err := dialer.DialContext(ctx, "tcp", at); err == nil {
			conn.Close()
			return true
		}
	}
	if name := plan.Service.Lookup; name != "" {
		_, err := net.DefaultResolver.LookupHost(ctx, name)
		return err == nil
	}
	return false
}
