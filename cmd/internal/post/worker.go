package post

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"boundwalk/cmd/internal/mail"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Worker delivers what waits in the spool. Book and Plan are required.
type Worker struct {
	Book *store.Logbook

	// Plan is the plan in use: its mail settings count, also for letters that
	// were written under others.
	Plan func() *inventory.Plan

	// Secrets resolves a reference of the plan.
	Secrets func(inventory.SecretRef) (string, error)

	Log *slog.Logger // nil: silent

	// Send hands one letter over; nil: to the plan's mail server or webhook.
	Send func(context.Context, store.Letter) (mail.Receipt, error)

	once     sync.Once
	wake     chan struct{}
	accepted map[int64]string // taken by the server, not yet marked in the logbook -> its words
}

// rest is how long the worker leaves the spool alone between two looks. What is
// promised wakes it; only what is tried again waits for it.
const rest = time.Minute

func (w *Worker) init() {
	w.once.Do(func() {
		w.wake, w.accepted = make(chan struct{}, 1), map[int64]string{}
		if w.Log == nil {
			w.Log = slog.New(slog.DiscardHandler)
		}
		if w.Send == nil {
			w.Send = w.send
		}
	})
}

// Wake has the worker look at the spool at once.
func (w *Worker) Wake() {
	w.init()
	select {
	case w.wake <- struct{}{}:
	default: // it will
	}
}

// Run delivers until ctx ends.
func (w *Worker) Run(ctx context.Context) {
	w.init()
	for ctx.Err() == nil {
		if err := w.Round(ctx, time.Now()); err != nil && ctx.Err() == nil {
			w.Log.Error("mail spool", "err", err)
		}
		timer := time.NewTimer(rest)
		select {
		case <-ctx.Done():
		case <-w.wake:
		case <-timer.C:
		}
		timer.Stop()
	}
}

// Round tries once what is due now, and drops what a newer letter replaced. A
// letter that fails stays; only errors of the logbook are returned. It is not
// to be called while Run runs.
func (w *Worker) Round(ctx context.Context, now time.Time) error {
	w.init()
	start := time.Now()
	clock := func() time.Time { return now.Add(time.Since(start)) } // a slow server takes minutes
	waiting, err := w.Book.Waiting(ctx)
	if err != nil {
		return err
	}
	dropped, err := w.drop(ctx, waiting, now)
	if err != nil {
		return err
	}
	for _, m := range waiting {
		if ctx.Err() != nil {
			return nil
		}
		if dropped[m.ID] || !mail.DueNow(m.Next, now) {
			continue
		}
		if err := w.deliver(ctx, m, clock); err != nil {
			return err
		}
	}
	return nil
}

func (w *Worker) drop(ctx context.Context, waiting []store.Letter, now time.Time) (map[int64]bool, error) {
	list := make([]mail.Waiting, 0, len(waiting))
	words := map[int64]string{}
	for _, m := range waiting {
		// Readers fail one by one: what replaces a letter is one to the same reader.
		list = append(list, mail.Waiting{ID: m.ID, Kind: m.Kind + " " + m.Target, FirstQueued: m.Queued})
		words[m.ID] = m.Words
	}
	dropped := map[int64]bool{}
	for _, id := range mail.Outdated(list, now) {
		if err := w.Book.GivenUp(ctx, id, string(mail.Dropped), words[id], now); err != nil {
			return nil, err
		}
		w.Log.Warn("mail given up", "letter", id, "words", words[id])
		dropped[id] = true
	}
	return dropped, nil
}

// deliver tries one letter and notes the outcome.
func (w *Worker) deliver(ctx context.Context, m store.Letter, clock func() time.Time) error {
	words, done := w.accepted[m.ID]
	if !done {
		receipt, err := w.Send(ctx, m)
		if err != nil {
			if ctx.Err() != nil {
				return nil // we were stopped; that is no failure of the server
			}
			return w.failed(ctx, m, err, clock())
		}
		words = receipt.Server + ": " + receipt.ServerWords
		w.accepted[m.ID] = words
		w.Log.Info("mail sent", "letter", m.ID, "kind", m.Kind, "words", words)
	}
	// What the server took must not go out again, so this is not left half done.
	after := context.WithoutCancel(ctx)
	if err := w.Book.Sent(after, m.ID, words, clock()); err != nil {
		return err
	}
	delete(w.accepted, m.ID)
	return nil
}

func (w *Worker) failed(ctx context.Context, m store.Letter, cause error, now time.Time) error {
	next, giveUp := mail.NextTry(m.Queued, m.Attempts+1, now)
	w.Log.Warn("mail not sent", "letter", m.ID, "kind", m.Kind, "attempt", m.Attempts+1, "next", next, "old", giveUp, "err", cause)
	return w.Book.Deferred(ctx, m.ID, cause.Error(), next)
}

func (w *Worker) send(ctx context.Context, m store.Letter) (mail.Receipt, error) {
	plan := w.Plan()
	if m.Target == HookTarget {
		if plan.Service.Webhook == "" {
			return mail.Receipt{}, fmt.Errorf("the plan names no webhook any more")
		}
		return mail.Hook{URL: mail.Secret(plan.Service.Webhook)}.Post(ctx, m.Body)
	}
	cfg, err := Config(plan, w.Secrets)
	if err != nil {
		return mail.Receipt{}, err
	}
	return mail.SendRaw(ctx, cfg, sender(plan), []string{m.Target}, m.Body)
}

// Config is the plan's way to the mail server, its secret resolved.
func Config(plan *inventory.Plan, secrets func(inventory.SecretRef) (string, error)) (mail.Config, error) {
	m := plan.Service.Mail
	if m.Server == "" {
		return mail.Config{}, fmt.Errorf("the plan names no mail server (service: mail:)")
	}
	cfg := mail.Config{Server: m.Server, Security: mail.Security(m.Security), User: m.User, Hello: m.Hello}
	if m.Password != "" {
		if secrets == nil {
			return cfg, fmt.Errorf("mail: nothing resolves the password")
		}
		text, err := secrets(m.Password)
		if err != nil {
			return cfg, fmt.Errorf("mail: password: %w", err)
		}
		cfg.Password = mail.Secret(text)
	}
	return cfg, nil
}
