package daemon

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/mail"
	"boundwalk/inventory"
)

// soon is what the service promises for an urgent finding, from its cause to the
// mail server's "taken".
const soon = 2 * time.Minute

// A radio goes dark, at any moment between two pulses or in the middle of a
// scheduled run: within two minutes each reader and the webhook have one word of
// it, and when it is back one more. In between, and after it, there is nothing.
func TestUrgentWithinTwoMinutes(t *testing.T) {
	t.Parallel()
	for _, after := range []time.Duration{0, 1, 59, 275, 288, 293, 305, 350} { // a scheduled run lasts from 293 to 313
		t.Run(fmt.Sprintf("%d s", after), func(t *testing.T) {
			t.Parallel()
			inBubble(t, t.TempDir(), tuesday, "  webhook: https://hook.example.net/quay\n", func(w *watch) {
				w.start()
				time.Sleep(10*time.Minute + after*time.Second)
				cause := time.Now()
				w.site.set("quay-radio", false)
				w.news("urgent", cause, "quay-radio is missing, with 2 behind it")
				time.Sleep(7*time.Minute + 13*time.Second)
				cause = time.Now()
				w.site.set("quay-radio", true)
				w.news("over", cause, "quay-radio is missing")
				time.Sleep(40 * time.Minute)
				w.each("urgent", 1)
				w.each("over", 1)
				if n := len(w.mails("webhook")); n != 2 {
					t.Errorf("%d calls of the webhook, want 2", n)
				}
			})
		})
	}
}

// news waits for two minutes, and fails unless in this time each reader had one
// mail of the kind, and the webhook one call.
func (w *watch) news(kind string, cause time.Time, words string) {
	w.t.Helper()
	time.Sleep(soon)
	if list := w.each(kind, 1); len(list) > 0 {
		w.t.Logf("%s: taken %s after its cause", kind, list[len(list)-1].At.Sub(cause))
		if !strings.Contains(list[0].Subject, words) && !strings.Contains(list[0].Text, words) {
			w.t.Errorf("%q is not in %q:\n%s", words, list[0].Subject, list[0].Text)
		}
	}
	calls := slices.DeleteFunc(w.mails("webhook"), func(m taken) bool { return !strings.Contains(m.Text, `"event":"`+kind+`"`) })
	if len(calls) != 1 || !strings.Contains(calls[0].Text, "missing-device/quay-radio") {
		w.t.Errorf("%s: calls of the webhook: %+v", kind, calls)
	}
}

// A daemon that is ended, or that never came to send, says nothing twice and
// forgets nothing.
func TestSaidOnceOverRestarts(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		w.refuse(errors.New("no route"))
		w.site.set("quay-radio", false)
		time.Sleep(3 * time.Minute)
		w.end() // promised, and not sent
		w.refuse(nil)
		w.start()
		time.Sleep(20 * time.Minute)
		if first := w.each("urgent", 1); len(first) > 0 && !strings.Contains(first[0].Subject, "quay-radio is missing") {
			t.Errorf("subject %q", first[0].Subject)
		}
		w.end()
		w.site.set("quay-radio", true) // while nobody looks
		time.Sleep(time.Hour)
		w.start()
		time.Sleep(20 * time.Minute)
		w.end()
		w.start()
		time.Sleep(20 * time.Minute)
		w.each("urgent", 1)
		w.each("over", 1)
	})
}

// A radio that comes and goes all day is told three times, the rest is for the digest.
func TestFlappingIsNotRung(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		for range 8 {
			w.site.set("quay-radio", false)
			time.Sleep(10 * time.Minute)
			w.site.set("quay-radio", true)
			time.Sleep(10 * time.Minute)
		}
		w.each("urgent", 3)
		w.each("over", 3)
	})
}

// Field case FC-23 in the daemon: the power is back, this machine is up first, and
// nobody is called missing for that. Nor is anybody when its own cable is out.
func TestFC23OwnBoot(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "", func(w *watch) {
		w.opts.Booted = time.Now().Add(-40 * time.Second)
		w.site.set("quay-switch", false) // the router alone answers
		w.start()
		if _, err := w.d.RunNow(w.t.Context(), control.Wishes{}, nil); err != nil { // a person cannot wait
			t.Fatal(err)
		}
		time.Sleep(9*time.Minute - 25*time.Second)
		if n := w.site.looked(); n != 1 {
			t.Errorf("%d runs while it settled, want the person's alone", n)
		}
		w.site.set("quay-switch", true)
		time.Sleep(time.Hour)
		w.quiet()
		if n := w.site.looked(); n < 4 {
			t.Errorf("%d runs", n)
		}
		if eps, err := w.book.Episodes(w.t.Context(), tuesday); err != nil || len(eps) > 0 {
			t.Errorf("findings %+v, %v", eps, err)
		}
	})
}

func TestFC23MoreThanHalf(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		w.site.set("quay-switch", false)
		time.Sleep(30 * time.Minute)
		for _, m := range w.each("urgent", 1) {
			if !strings.Contains(m.Subject, "most of the site cannot be seen from here") ||
				!strings.Contains(m.Text, "look first at the cable, switch port and power of the machine that boundwalk runs on") {
				t.Errorf("subject %q\n%s", m.Subject, m.Text)
			}
		}
	})
}

func TestFC23OwnCable(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		w.site.change(func(s *site) { s.cut = true })
		time.Sleep(time.Hour)
		snap, _, err := w.book.Snapshot(w.t.Context())
		w.check(err)
		for i := range snap.Devices {
			if d := &snap.Devices[i]; d.Planned && d.Presence == inventory.Absent {
				t.Errorf("%s is absent", d.Name)
			}
		}
		if c := snap.Coverage[0]; c.Result != inventory.Skipped || !strings.HasPrefix(c.Why, "not run") {
			t.Errorf("coverage: %+v", c)
		}
		w.quiet()
		w.site.change(func(s *site) { s.cut = false })
		time.Sleep(time.Hour)
		w.quiet()
	})
}

// The internet line is down for three hours: a finding says so, what is urgent
// meanwhile waits, and when the line is back it comes with from when to when.
func TestInternetDown(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "  outside: mail.example.net:443\n", func(w *watch) {
		w.start()
		time.Sleep(5*time.Minute + 20*time.Second)
		w.site.change(func(s *site) { s.dark = true })
		w.refuse(&mail.SendError{Server: "mail.example.net:25", Step: "connect", Err: errors.New("network is unreachable")})
		from := time.Now()
		time.Sleep(30 * time.Minute)
		if !w.isOpen("internet-down/internet line") {
			t.Error("no finding of the line")
		}
		w.site.set("quay-radio", false)
		time.Sleep(150 * time.Minute)
		w.quiet()
		w.refuse(nil)
		w.site.change(func(s *site) { s.dark = false })
		time.Sleep(soon)
		w.each("urgent", 1)
		for _, m := range w.each("outage", 1) {
			at := func(t time.Time) string { return t.Truncate(time.Minute).Format("Mon 2 Jan 15:04 -07:00") }
			first, last := at(from.Add(time.Minute)), at(from.Add(3*time.Hour+time.Minute)) // by the pulse's minute
			if want := "The internet line was down from " + first + " to " + last; !strings.Contains(m.Text, want) {
				t.Errorf("%q is not in\n%s", want, m.Text)
			}
		}
		time.Sleep(20 * time.Minute)
		if w.isOpen("internet-down/internet line") {
			t.Error("the finding stays")
		}
	})
}

// An outage that lasts is over as well when the plan names nothing to try any more.
func TestLineNoLongerAsked(t *testing.T) {
	t.Parallel()
	inBubble(t, t.TempDir(), tuesday, "  outside: mail.example.net:443\n", func(w *watch) {
		w.start()
		time.Sleep(5 * time.Minute)
		w.site.change(func(s *site) { s.dark = true })
		time.Sleep(30 * time.Minute)
		if !w.isOpen("internet-down/internet line") {
			t.Error("no finding of the line")
		}
		writePlan(t, w.planFile(), "mail.example.net:25")
		w.d.Reload()
		time.Sleep(30 * time.Minute)
		if w.isOpen("internet-down/internet line") {
			t.Error("the finding stays for ever")
		}
	})
}

// quiet fails if the server has taken any mail.
func (w *watch) quiet() {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.taken) > 0 {
		w.t.Errorf("mails: %+v", w.taken)
	}
}

// isOpen reports whether the finding is open.
func (w *watch) isOpen(key string) bool {
	w.t.Helper()
	eps, err := w.book.Episodes(w.t.Context(), time.Now())
	w.check(err)
	for _, e := range eps {
		if e.Finding.Key == key && e.Cleared.IsZero() {
			return true
		}
	}
	return false
}
