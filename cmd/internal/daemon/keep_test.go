package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/pass"
	"boundwalk/store"
)

// status is what the daemon tells, as a client reads it.
func (w *watch) status() Status {
	w.t.Helper()
	v, err := w.d.Status(w.t.Context())
	w.check(err)
	text, err := json.Marshal(v)
	w.check(err)
	var s Status
	w.check(json.Unmarshal(text, &s))
	return s
}

// said reports how a text that may be null reads.
func said(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// sunday is ten hours before a digest is due.
var sunday = time.Date(2026, 11, 29, 22, 0, 7, 0, time.UTC)

// coarse has a daemon look rarely, so that weeks pass soon.
const coarse = "  runs: \"0 */6 * * *\"\n  pulse: 30 min\n"

// Field case FC-28: the mail server is down for a week, from before one Monday to
// after the next. The tries thin out; log and status have the server's words; then
// each reader has the newest digest, once, and it says that one was lost.
func TestFC28ServerDownForAWeek(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), sunday, coarse, func(w *watch) {
		w.start()
		const words = "451 4.3.0 the slipway is closed"
		w.refuse(&mail.SendError{Server: "mail.example.net:25", Step: "MAIL", Code: 451, Words: words, Err: errors.New("refused")})
		time.Sleep(7 * 24 * time.Hour)
		if s := w.status(); s.Mail.Waiting != 2 || !strings.Contains(said(s.Mail.Words), words) || !strings.Contains(w.log.String(), words) {
			t.Errorf("status: %d wait, %q", s.Mail.Waiting, said(s.Mail.Words))
		}
		w.mu.Lock()
		tries := slices.Clone(w.tries)
		w.mu.Unlock()
		last := time.Duration(0)
		for i := 2; i < len(tries); i += 2 { // two readers: each second try is of the same letter
			pause := tries[i].Sub(tries[i-2])
			if pause < last-time.Minute || pause > 6*time.Hour+2*time.Minute {
				t.Errorf("try %d came %s after the one before it, and that after %s", i/2, pause, last)
			}
			last = pause
		}
		if n := len(tries) / 2; n < 10 || n > 40 || last < 5*time.Hour {
			t.Errorf("%d tries for each reader, the last pause %s", n, last)
		}
		time.Sleep(12 * time.Hour) // over the next Monday's 08:00
		w.quiet()
		w.refuse(nil)
		time.Sleep(7 * time.Hour)
		for _, m := range w.each("digest", 1) {
			lost := "The weekly mail of Mon 30 Nov 08:00 could not be delivered: "
			if !strings.Contains(m.Subject, "week 50 of 2026") || strings.Count(m.Text, lost) != 1 || !strings.Contains(m.Text, words) {
				t.Errorf("subject %q\n%s", m.Subject, m.Text)
			}
		}
		if s := w.status(); s.Mail.Waiting != 0 {
			t.Errorf("%d letters wait", s.Mail.Waiting)
		}
	})
}

// The plan's file becomes empty, then half-written, then good again: the last good
// plan stays, and log, status and the next mails say so with the fault.
func TestBadPlanKeepsTheLast(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), sunday, "", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		good, err := os.ReadFile(w.planFile())
		w.check(err)
		half := good[:strings.Index(string(good), "basin-cam")+20]
		for _, text := range []string{"", string(half)} {
			w.check(os.WriteFile(w.planFile(), []byte(text), 0o600))
			w.d.Reload()
			time.Sleep(20 * time.Minute)
			if s := w.status(); said(s.Problem) == "" || s.LastRun == nil || time.Since(*s.LastRun) > 16*time.Minute {
				t.Errorf("plan of %d bytes: problem %q, last run %v", len(text), said(s.Problem), s.LastRun)
			}
		}
		if n := strings.Count(w.log.String(), "the last good one stays in use"); n != 2 {
			t.Errorf("the log says it %d times, want once for each", n)
		}
		w.site.set("quay-radio", false) // which the half plan does not know whole
		time.Sleep(soon)
		for _, m := range w.each("urgent", 1) {
			if !strings.Contains(m.Text, "The plan file has been bad since Sun 29 Nov 22:05") || !strings.Contains(m.Text, "the last good plan is in use") {
				t.Errorf("the mail does not say it:\n%s", m.Text)
			}
		}
		time.Sleep(10 * time.Hour)
		for _, m := range w.each("digest", 1) {
			if !strings.Contains(m.Text, "The plan file has been bad since Sun 29 Nov 22:05") {
				t.Errorf("the digest does not say it:\n%s", m.Text)
			}
		}
		w.check(os.WriteFile(w.planFile(), good, 0o600))
		w.d.Reload()
		time.Sleep(time.Second)
		if s := w.status(); said(s.Problem) != "" {
			t.Errorf("a good plan, and a problem: %s", said(s.Problem))
		}
	})
}

// The clock is set back by a day and a half: a second bubble on the same logbook.
// What was told is not told again, what comes is told as soon as ever, what waits
// is sent, and no week has two digests.
func TestClockSetBackADay(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	inBubble(t, dir, sunday.Add(36*time.Hour), "", func(w *watch) {
		w.servedFor(3)
		w.start()
		time.Sleep(10 * time.Minute)
		w.site.set("quay-radio", false)
		time.Sleep(10 * time.Minute)
		w.each("digest", 1)
		w.each("urgent", 1)
		w.refuse(errors.New("no route"))
		w.site.set("gate-cam", false)
		time.Sleep(30 * time.Minute) // promised, and not sent
	})
	inBubble(t, dir, sunday, "", func(w *watch) {
		w.site.set("quay-radio", false)
		w.site.set("gate-cam", false)
		w.start()
		time.Sleep(5 * time.Minute)
		for _, m := range w.each("urgent", 1) { // what waited, for longer than any pause by its own word
			if !strings.Contains(m.Subject, "gate-cam is missing") {
				t.Errorf("subject %q", m.Subject)
			}
		}
		w.site.set("quay-radio", true)
		time.Sleep(soon)
		if list := w.each("over", 1); len(list) > 0 && !strings.Contains(list[0].Subject, "quay-radio is missing") {
			t.Errorf("subject %q", list[0].Subject)
		}
		time.Sleep(10 * time.Minute)
		w.site.set("slip-cam", false)
		time.Sleep(20 * time.Minute)
		if list := w.each("urgent", 2); len(list) == 4 && !strings.Contains(list[2].Subject, "slip-cam is missing") {
			t.Errorf("subject %q", list[2].Subject)
		}
		time.Sleep(10 * time.Hour) // over Monday 08:00 for the second time
		w.each("digest", 0)
	})
}

// servedFor has the logbook remember a daemon of weeks ago.
func (w *watch) servedFor(weeks int) {
	w.t.Helper()
	book, err := store.Open(w.t.Context(), filepath.Join(w.dir, "logbook.db"))
	w.check(err)
	w.check(book.SetFact(w.t.Context(), "serving since", time.Now().AddDate(0, 0, -7*weeks).UTC().Format(time.RFC3339)))
	w.check(book.Close())
}

// Another process holds the logbook locked for longer than anybody waits: the run
// that is lost for it is told in log and status, and is made again a minute later.
func TestLogbookLocked(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		before := w.site.looked()
		release := lockLogbook(t, filepath.Join(w.dir, "logbook.db"))
		time.Sleep(10*time.Minute + 30*time.Second) // with the run of 10:15
		if s := w.status(); !strings.Contains(said(s.RunErr), "another process holds the logbook") ||
			!strings.Contains(w.log.String(), "another process holds the logbook") {
			t.Errorf("status: %q", said(s.RunErr))
		}
		release()
		time.Sleep(3 * time.Minute)
		if s := w.status(); said(s.RunErr) != "" || w.site.looked() <= before || s.LastRun == nil || time.Since(*s.LastRun) > 3*time.Minute {
			t.Errorf("after it: error %q, %d runs, last %v", said(s.RunErr), w.site.looked()-before, s.LastRun)
		}
	})
}

// serving runs a daemon over the site until the test ends, and returns a client
// once it answers, and its logbook.
func serving(t *testing.T, s *site) (control.Client, *store.Logbook) {
	t.Helper()
	dir := t.TempDir()
	plan, socket := filepath.Join(dir, "plan.yaml"), filepath.Join(dir, "s")
	writePlan(t, plan, "127.0.0.1:9")
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(plan, []byte(strings.Replace(string(text), "/nowhere/control.sock", socket, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	book, err := store.Open(t.Context(), filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	report := func(r *pass.Result) (control.Result, error) {
		text, err := json.Marshal(r.ID)
		return control.Result{Report: text}, err
	}
	d, err := New(t.Context(), Options{PlanPath: plan, Book: book, Survey: s.survey, Pulse: s.pulse, Report: report})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := d.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() {
		cancel()
		wg.Wait()
	})
	client := control.Client{Path: socket}
	for end := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		if _, err := client.Status(t.Context()); err == nil {
			return client, book
		} else if time.Now().After(end) {
			t.Fatal(err)
		}
	}
}

// Two people ask at once, through the socket: two runs, one after the other, and
// each has his own report. What a run is at shows in the status meanwhile.
func TestTwoRunsAtOnce(t *testing.T) {
	t.Parallel()
	s := newSite()
	s.takes = 200 * time.Millisecond
	client, book := serving(t, s)
	results := make([]string, 2)
	var people sync.WaitGroup
	for i := range results {
		people.Go(func() {
			r, err := client.Run(t.Context(), nil)
			if err != nil {
				t.Error(err)
			}
			results[i] = string(r.Report)
		})
	}
	people.Wait()
	if results[0] == results[1] || results[0] == "" || results[1] == "" {
		t.Errorf("reports of runs %q", results)
	}
	if s.most != 1 {
		t.Errorf("%d runs at once", s.most)
	}
	rows, err := book.Runs(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for _, r := range rows {
		if r.Asked == "person" && r.State == "complete" {
			asked++
		}
	}
	if asked != 2 {
		t.Errorf("%d runs for people: %+v", asked, rows)
	}
}
