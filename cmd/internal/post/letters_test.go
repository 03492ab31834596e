package post_test

import (
	"bytes"
	"encoding/json"
	netmail "net/mail"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/post"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

func gone(name string) diff.Finding { return diff.New(diff.MissingDevice, name) }

// What the digest says comes from the logbook: findings, runs, samples, traffic, and the mails that failed.
func TestGather(t *testing.T) {
	l := open(t)
	for k := range 4 {
		save(t, l, monday.Add(time.Duration(k-4)*15*time.Minute), gone("slip-cam"), diff.New(diff.ClockOff, "quay-switch"))
	}
	if err := l.Hush(t.Context(), store.Hush{Key: "clock-off/quay-switch", Since: monday, Until: monday.AddDate(0, 0, 7), Why: "part ordered"}); err != nil {
		t.Fatal(err)
	}
	old := store.Letter{Kind: "digest", Key: "digest/2026-W47/x", Body: []byte("x")}
	if _, err := l.Enqueue(t.Context(), old, monday.AddDate(0, 0, -5)); err != nil {
		t.Fatal(err)
	}
	w, _ := l.Waiting(t.Context())
	if err := l.GivenUp(t.Context(), w[0].ID, "dropped", "550 no such boat", monday.AddDate(0, 0, -1)); err != nil {
		t.Fatal(err)
	}
	in, err := post.Gather(t.Context(), l, quay(), monday, post.Options{Notices: []string{"The plan is bad."}})
	if err != nil {
		t.Fatal(err)
	}
	letters, err := post.Weekly(quay(), in, "2026-W48")
	if err != nil {
		t.Fatal(err)
	}
	if len(letters) != 2 || letters[0].Target != "owner@example.net" || letters[1].Key != "digest/2026-W48/boss@example.net" ||
		letters[0].Message == letters[1].Message {
		t.Fatalf("letters: %+v", letters)
	}
	full, short := parsed(t, letters[0].Body), parsed(t, letters[1].Body)
	if full.Header.Get("Subject") != "Tern Quay, week 48 of 2026: 1 urgent" || full.Header.Get("Sensitivity") == "" {
		t.Errorf("header: %v", full.Header)
	}
	body, shortBody := decoded(t, full), decoded(t, short)
	for _, want := range []string{"slip-cam is missing", "4 runs since", "! The plan is bad.", "could not be delivered", "550 no such boat",
		"Hushed (1): the clock of quay-switch is off", "part ordered", "24 W now", "carries 2 Mbit/s on the mean"} {
		if !strings.Contains(body, want) {
			t.Errorf("%q is not in\n%s", want, body)
		}
	}
	if strings.Contains(shortBody, "Radio links") || !strings.Contains(shortBody, "slip-cam is missing") {
		t.Errorf("short:\n%s", shortBody)
	}
	again, _ := post.Weekly(quay(), in, "2026-W48")
	if !bytes.Equal(again[0].Body, letters[0].Body) {
		t.Error("the same digest has other bytes the second time")
	}
}

func parsed(t *testing.T, raw []byte) *netmail.Message {
	t.Helper()
	m, err := netmail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Each urgent finding is promised once when it comes, and once when it is over.
func TestTell(t *testing.T) {
	l, at := open(t), monday
	tell := func(want int) []store.Letter {
		t.Helper()
		n, err := post.Tell(t.Context(), l, quay(), at)
		if err != nil || n != want {
			t.Fatalf("%d letters, %v; want %d", n, err, want)
		}
		w, _ := l.Waiting(t.Context())
		return w[len(w)-n:]
	}
	step := func(fs ...diff.Finding) { at = at.Add(15 * time.Minute); save(t, l, at, fs...) }

	step(diff.New(diff.ClockOff, "quay-switch")) // a warning waits for the digest
	tell(0)
	step(gone("slip-cam"), diff.New(diff.ClockOff, "quay-switch"))
	w := tell(2)
	if s := parsed(t, w[0].Body).Header.Get("Subject"); s != "Tern Quay: urgent: slip-cam is missing" || w[0].Kind != "urgent" {
		t.Errorf("%s: %s", w[0].Kind, s)
	}
	tell(0)
	step(gone("slip-cam"), gone("quay-radio"))
	tell(2) // the radio alone
	step(gone("slip-cam"))
	w = tell(2)
	if s := parsed(t, w[0].Body).Header.Get("Subject"); s != "Tern Quay: over: quay-radio is missing" || w[0].Kind != "over" {
		t.Errorf("%s: %s", w[0].Kind, s)
	}
	tell(0)
}

// What comes and goes all day is mailed three times, not thirty.
func TestTellFlapping(t *testing.T) {
	l, at, urgent := open(t), monday, 0
	for range 10 {
		for _, fs := range [][]diff.Finding{{gone("slip-cam")}, nil} {
			at = at.Add(15 * time.Minute)
			save(t, l, at, fs...)
			if _, err := post.Tell(t.Context(), l, quay(), at); err != nil {
				t.Fatal(err)
			}
		}
	}
	w, _ := l.Waiting(t.Context())
	for _, m := range w {
		if m.Kind == "urgent" && m.Target == "owner@example.net" {
			urgent++
		}
	}
	if urgent != 3 {
		t.Errorf("%d urgent mails in a day", urgent)
	}
	at = at.AddDate(0, 0, 2)
	save(t, l, at, gone("slip-cam"))
	if n, err := post.Tell(t.Context(), l, quay(), at); n != 2 || err != nil {
		t.Errorf("two days later: %d, %v", n, err)
	}
}

func TestTellHushed(t *testing.T) {
	for _, key := range []string{"missing-device/slip-cam", store.HushAll} {
		l := open(t)
		if err := l.Hush(t.Context(), store.Hush{Key: key, Since: monday, Until: monday.Add(2 * time.Hour), Why: "roof work"}); err != nil {
			t.Fatal(err)
		}
		save(t, l, monday.Add(time.Minute), gone("slip-cam"))
		if n, err := post.Tell(t.Context(), l, quay(), monday.Add(time.Minute)); n != 0 || err != nil {
			t.Errorf("%s: %d letters, %v", key, n, err)
		}
		later := monday.Add(3 * time.Hour) // the work is over, the camera still gone
		save(t, l, later, gone("slip-cam"))
		if n, err := post.Tell(t.Context(), l, quay(), later); n != 2 || err != nil {
			t.Errorf("%s, afterwards: %d letters, %v", key, n, err)
		}
	}
}

// A camera that hangs behind what is dead now is not "over".
func TestTellFolded(t *testing.T) {
	l := open(t)
	save(t, l, monday, gone("slip-cam"))
	if n, err := post.Tell(t.Context(), l, quay(), monday); n != 2 || err != nil {
		t.Fatal(n, err)
	}
	f := gone("quay-switch")
	f.Behind = []string{"slip-cam"}
	at := monday.Add(time.Hour)
	save(t, l, at, f)
	if n, err := post.Tell(t.Context(), l, quay(), at); n != 2 || err != nil {
		t.Fatalf("%d letters, %v; want those of the switch", n, err)
	}
	at = at.Add(time.Hour)
	save(t, l, at)
	if n, err := post.Tell(t.Context(), l, quay(), at); n != 2 || err != nil {
		t.Fatalf("%d letters, %v; want one for both to each reader", n, err)
	}
	w, _ := l.Waiting(t.Context())
	if s := parsed(t, w[len(w)-1].Body).Header.Get("Subject"); s != "Tern Quay: 2 over" {
		t.Error(s)
	}
}

// Without a reader nothing is marked, so that it is told once there is one.
func TestTellNobody(t *testing.T) {
	l, plan := open(t), quay()
	plan.Service.Mail = inventory.Mail{}
	save(t, l, monday, gone("slip-cam"))
	if n, err := post.Tell(t.Context(), l, plan, monday); n != 0 || err != nil {
		t.Fatal(n, err)
	}
	if n, err := post.Tell(t.Context(), l, quay(), monday); n != 2 || err != nil {
		t.Fatal(n, err)
	}
}

// The webhook gets the findings in the shape of the contract, and its address is not stored.
func TestTellWebhook(t *testing.T) {
	l, plan := open(t), quay()
	plan.Service.Mail, plan.Service.Webhook = inventory.Mail{}, "https://hook.example.net/t0ken"
	save(t, l, monday, gone("slip-cam"))
	if n, err := post.Tell(t.Context(), l, plan, monday); n != 1 || err != nil {
		t.Fatal(n, err)
	}
	w, _ := l.Waiting(t.Context())
	var got struct {
		Site, Event string
		Findings    []struct{ Key, Severity string }
	}
	if err := json.Unmarshal(w[0].Body, &got); err != nil {
		t.Fatal(err)
	}
	if got.Site != "Tern Quay" || got.Event != "urgent" || len(got.Findings) != 1 || got.Findings[0].Key != "missing-device/slip-cam" ||
		got.Findings[0].Severity != "urgent" {
		t.Errorf("%+v", got)
	}
	if w[0].Target != post.HookTarget || bytes.Contains(w[0].Body, []byte("t0ken")) {
		t.Errorf("the address is in the spool: %q", w[0].Target)
	}
}
