package schedule

import (
	"cmp"
	"context"
	"errors"
	"time"
)

// Loop runs the daemon's jobs one after the other, so that none overlaps
// another. A scheduled time that passes while a run is on is skipped.
type Loop struct {
	// Next is the first scheduled time after now, zero for none. It is asked at
	// least once a minute, so a new plan takes hold soon. Required.
	Next func(now time.Time) time.Time

	// Job is the scheduled run. Required.
	Job func(ctx context.Context)

	// Pulse is the light pass between runs; nil means none. The first comes
	// when the loop has settled.
	Pulse func(ctx context.Context)

	// Every is the time from pulse to pulse; zero means a minute. A pulse that
	// falls into a run, or into the pulse before it, is left out.
	Every time.Duration

	// Settle is how long after its start the loop does nothing of its own
	// accord, since switches and cameras start more slowly than a small server
	// does (see [SinceBoot]). Zero means not at all.
	Settle time.Duration

	// Requests bring runs that a person asked for: begun at once, also while
	// the loop settles, or else right after the job that is on. They count as
	// runs. A sender must also watch the ctx given to Run; after that has ended
	// nobody receives.
	Requests <-chan func(ctx context.Context)
}

// Run blocks until ctx ends and the job then on, which gets the same ctx, has
// returned. The only error is a Loop that lacks a required part.
func (l Loop) Run(ctx context.Context) error {
	if l.Next == nil || l.Job == nil {
		return errors.New("schedule: loop without Next or Job")
	}
	l.Every = cmp.Or(l.Every, time.Minute)
	settled := time.Now().Add(l.Settle)
	r := rounds{Loop: l, settled: settled, pulse: settled, done: settled.Round(0)}
	for ctx.Err() == nil {
		job, in := r.coming(time.Now())
		timer := time.NewTimer(in)
		select {
		case <-ctx.Done():
		case request, ok := <-r.Requests:
			if !ok {
				r.Requests = nil // a nil channel is never ready
				break
			}
			request(ctx)
			r.ran()
		case <-timer.C:
			if job != nil && ctx.Err() == nil {
				job(ctx)
			}
		}
		timer.Stop()
	}
	return nil
}

// rounds is where a Loop stands.
type rounds struct {
	Loop
	settled time.Time // when the loop may act of its own accord
	pulse   time.Time // the next pulse, on a grid of Every
	done    time.Time // scheduled times after this one count; wall clock only
}

// coming returns the next job and how long until then, or no job and how long
// to wait before asking again. The schedule is compared with the wall clock,
// which may be set; a timer's clock is not. Hence a look at least every minute.
func (r *rounds) coming(now time.Time) (job func(context.Context), in time.Duration) {
	if wait := r.settled.Sub(now); wait > 0 {
		return nil, wait
	}
	clock := now.Round(0)
	if clock.Before(r.done) {
		r.done = clock // the clock was set back
	}
	in = time.Minute
	if next := r.Next(r.done); !next.IsZero() {
		if !next.After(clock) {
			return r.run, 0
		}
		in = min(in, next.Sub(clock))
	}
	if r.Pulse != nil {
		if !r.pulse.After(now) {
			return r.beat, 0
		}
		in = min(in, r.pulse.Sub(now))
	}
	return nil, in
}

func (r *rounds) run(ctx context.Context) {
	r.Job(ctx)
	r.ran()
}

// beat leaves done alone: a scheduled time that passes during a pulse is run
// right after it.
func (r *rounds) beat(ctx context.Context) {
	r.Pulse(ctx)
	r.skipPulses()
}

// ran notes the end of a run. What should have begun before now is skipped.
func (r *rounds) ran() {
	r.done = time.Now().Round(0)
	r.skipPulses()
}

func (r *rounds) skipPulses() {
	if late := time.Since(r.pulse); late >= 0 {
		r.pulse = r.pulse.Add(late.Truncate(r.Every) + r.Every)
	}
}
