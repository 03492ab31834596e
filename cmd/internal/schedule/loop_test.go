package schedule_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"boundwalk/cmd/internal/schedule"
)

// diary notes what a loop did and when, in minutes and seconds after its start.
// The loop runs one job at a time, so it needs no lock; busy proves it.
type diary struct {
	t     *testing.T
	start time.Time
	busy  bool
	lines []string
}

func (d *diary) job(what string, takes time.Duration) func(context.Context) {
	return func(ctx context.Context) {
		if d.busy {
			d.t.Errorf("%s overlaps another job", what)
		}
		d.busy = true
		defer func() { d.busy = false }()
		d.note(what)
		select {
		case <-time.After(takes):
		case <-ctx.Done():
		}
	}
}

func (d *diary) note(what string) {
	at := time.Since(d.start)
	d.lines = append(d.lines, fmt.Sprintf("%02d:%02d %s", int(at.Minutes()), int(at.Seconds())%60, what))
}

func (d *diary) want(lines ...string) {
	d.t.Helper()
	if !slices.Equal(d.lines, lines) {
		d.t.Errorf("got\n%q, want\n%q", d.lines, lines)
	}
}

func every(t *testing.T, expr string) func(time.Time) time.Time {
	t.Helper()
	runs, err := schedule.ParseRuns(expr, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return runs.Next
}

func nothing(time.Time) time.Time { return time.Time{} }

// during runs the loop for so long, and fails where Run does not end with ctx.
func during(t *testing.T, loop schedule.Loop, length time.Duration) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), length)
	defer cancel()
	if err := loop.Run(ctx); err != nil {
		t.Error(err)
	}
	if ctx.Err() == nil {
		t.Error("the loop ended by itself")
	}
}

func TestLoopSkipsWhatARunOutlasts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &diary{t: t, start: time.Now()}
		during(t, schedule.Loop{Next: every(t, "*/10 * * * *"), Job: d.job("run", 15*time.Minute)}, time.Hour)
		d.want("10:00 run", "30:00 run", "50:00 run")
	})
}

func TestLoopPulsesBetweenRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &diary{t: t, start: time.Now()}
		during(t, schedule.Loop{
			Next: every(t, "*/5 * * * *"), Job: d.job("run", 90*time.Second), Pulse: d.job("pulse", 5*time.Second),
		}, 8*time.Minute+time.Second)
		d.want("00:00 pulse", "01:00 pulse", "02:00 pulse", "03:00 pulse", "04:00 pulse", "05:00 run", "07:00 pulse", "08:00 pulse")
	})
}

func TestLoopSlowPulse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &diary{t: t, start: time.Now()}
		during(t, schedule.Loop{
			Next: every(t, "*/3 * * * *"), Job: d.job("run", time.Second), Pulse: d.job("pulse", 70*time.Second),
		}, 5*time.Minute+30*time.Second)
		// The run at 3:00 falls into a pulse and comes right after it.
		d.want("00:00 pulse", "02:00 pulse", "03:10 run", "04:00 pulse")
	})
}

func TestLoopRequests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &diary{t: t, start: time.Now()}
		requests := make(chan func(context.Context))
		ask := func(at time.Duration, what string) {
			time.Sleep(at - time.Since(d.start))
			requests <- d.job(what, 4*time.Minute)
		}
		go func() {
			ask(2*time.Minute, "asked at once")          // idle, and still settling
			ask(16*time.Minute, "asked during the run")  // on from 15:00 to 20:00
			ask(43*time.Minute, "asked before the time") // 45:00 passes meanwhile
			close(requests)
		}()
		during(t, schedule.Loop{
			Next: every(t, "*/15 * * * *"), Job: d.job("run", 5*time.Minute), Settle: 10 * time.Minute, Requests: requests,
		}, 61*time.Minute)
		d.want("02:00 asked at once", "15:00 run", "20:00 asked during the run", "30:00 run", "43:00 asked before the time", "60:00 run")
	})
}

func TestLoopSettles(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &diary{t: t, start: time.Now()}
		during(t, schedule.Loop{
			Next: every(t, "*/4 * * * *"), Job: d.job("run", time.Second), Pulse: d.job("pulse", time.Second),
			Every: 3 * time.Minute, Settle: 10 * time.Minute,
		}, 17*time.Minute)
		d.want("10:00 pulse", "12:00 run", "13:00 pulse", "16:00 run")
	})
}

func TestLoopEndsAfterItsJob(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		start, ended := time.Now(), false
		loop := schedule.Loop{Next: every(t, "* * * * *"), Job: func(ctx context.Context) {
			cancel()
			<-ctx.Done()
			time.Sleep(3 * time.Second) // putting things away
			ended = true
		}}
		if err := loop.Run(ctx); err != nil {
			t.Fatal(err)
		}
		if took := time.Since(start); !ended || took != 63*time.Second {
			t.Fatalf("ended %v after %s", ended, took)
		}
	})
}

func TestLoopEndedBeforeItBegins(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		d := &diary{t: t, start: time.Now()}
		loop := schedule.Loop{Next: nothing, Job: d.job("run", 0), Pulse: d.job("pulse", 0)}
		if err := loop.Run(ctx); err != nil {
			t.Fatal(err)
		}
		d.want()
	})
}

// A new plan may bring a new schedule; the loop asks again within a minute.
func TestLoopTakesAnotherSchedule(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &diary{t: t, start: time.Now()}
		before, after := every(t, "0 0 1 * *"), every(t, "*/5 * * * *")
		during(t, schedule.Loop{
			Next: func(now time.Time) time.Time {
				if time.Since(d.start) < 7*time.Minute {
					return before(now)
				}
				return after(now)
			},
			Job: d.job("run", time.Second),
		}, 11*time.Minute)
		d.want("07:00 run", "10:00 run")
	})
}

func TestLoopLacksParts(t *testing.T) {
	for _, loop := range []schedule.Loop{{}, {Next: nothing}, {Job: func(context.Context) {}}} {
		if err := loop.Run(t.Context()); err == nil {
			t.Errorf("%+v runs", loop)
		}
	}
}
