// Package post writes the daemon's mails and brings them to the mail server:
// [Gather] reads a digest from the logbook, [Weekly] and [Tell] make letters for
// the spool, and a [Worker] delivers what waits there.
package post

import (
	"context"
	"errors"
	"slices"
	"time"

	"boundwalk/cmd/internal/mail"
	"boundwalk/diff/digest"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Options say what a digest is about. The zero value is the last seven days.
type Options struct {
	Week    string    // the ISO week it is due for; empty: that of now
	Since   time.Time // zero: seven days ago
	Notices []string  // what the reader must know first
	Short   bool
}

// Gather reads from the logbook what the digest is made of. It only reads.
func Gather(ctx context.Context, book *store.Logbook, plan *inventory.Plan, now time.Time, opts Options) (digest.In, error) {
	in := digest.In{Plan: plan, Now: now, Since: opts.Since, Week: opts.Week, Notices: opts.Notices, Short: opts.Short}
	if in.Since.IsZero() {
		in.Since = now.AddDate(0, 0, -7)
	}
	var err error
	if in.History, err = book.History(ctx, now, plan.Site.Location); err != nil {
		return in, err
	}
	in.Snapshot = in.History.Previous
	if in.Episodes, err = episodes(ctx, book, in.Since, now); err != nil {
		return in, err
	}
	if in.Letters, err = troubles(ctx, book, in.Since, now, opts.Week != ""); err != nil {
		return in, err
	}
	if in.Runs.Complete, in.Runs.Stopped, err = book.CountRuns(ctx, in.Since); err != nil {
		return in, err
	}
	return in, errors.Join(samples(ctx, book, &in), traffic(ctx, book, &in))
}

// episodes are those open at any time since then, with what hushes them.
func episodes(ctx context.Context, book *store.Logbook, since, now time.Time) ([]digest.Episode, error) {
	eps, err := book.Episodes(ctx, since)
	if err != nil {
		return nil, err
	}
	hushes, err := book.Hushes(ctx, now)
	if err != nil {
		return nil, err
	}
	quiet := map[string]store.Hush{}
	for _, h := range hushes {
		quiet[h.Key] = h
	}
	var out []digest.Episode
	for _, e := range eps {
		x := digest.Episode{Finding: e.Finding, Opened: e.Opened, Cleared: e.Cleared}
		h, hushed := quiet[e.Finding.Key]
		if !hushed {
			h, hushed = quiet[store.HushAll]
		}
		if hushed {
			x.Hushed, x.Until, x.Why = true, h.Until, h.Why
		}
		out = append(out, x)
	}
	return out, nil
}

// What counts as trouble with a letter, and how many of the latest are looked at.
const (
	late        = 12 * time.Hour
	lastLetters = 50
)

// troubles are letters that did not arrive, wait long, or came late, to several
// readers as one. The weekly digest replaces an older one that still waits.
func troubles(ctx context.Context, book *store.Logbook, since, now time.Time, weekly bool) ([]digest.Letter, error) {
	list, err := book.Letters(ctx, lastLetters)
	if err != nil {
		return nil, err
	}
	var out []digest.Letter
	for _, m := range list {
		bad := false
		if _, old := mail.NextTry(m.Queued, m.Attempts, now); weekly && old && m.Kind == "digest" && m.State == "queued" {
			m.State, m.Ended = "dropped", now
		}
		switch m.State {
		case "queued":
			bad = m.Attempts > 0 && now.Sub(m.Queued) > time.Hour
		case "sent":
			bad = m.Ended.Sub(m.Queued) > late && m.Ended.After(since)
		default:
			bad = m.Ended.After(since)
		}
		same := func(x digest.Letter) bool { return x.Kind == m.Kind && x.State == m.State && x.Queued.Equal(m.Queued) }
		if bad && m.Kind != "test" && !slices.ContainsFunc(out, same) {
			out = append(out, digest.Letter{Kind: m.Kind, Queued: m.Queued, State: m.State, Words: m.Words})
		}
		if len(out) == 4 {
			break // the rest says the same
		}
	}
	return out, nil
}

func samples(ctx context.Context, book *store.Logbook, in *digest.In) error {
	supplies, ports := digest.Wanted(*in)
	from := in.Now.AddDate(0, 0, -7)
	in.Samples = digest.Samples{Supplies: map[inventory.SupplyRef][]digest.Sample{}, Ports: map[inventory.PortRef][]digest.Sample{}}
	for _, s := range supplies {
		list, err := book.SupplySamples(ctx, s, from)
		if err != nil {
			return err
		}
		in.Samples.Supplies[s] = drawn(list)
	}
	for _, p := range ports {
		list, err := book.PortSamples(ctx, p, from)
		if err != nil {
			return err
		}
		in.Samples.Ports[p] = drawn(list)
	}
	return nil
}

func drawn(list []store.DrawSample) []digest.Sample {
	out := make([]digest.Sample, 0, len(list))
	for _, s := range list {
		out = append(out, digest.Sample{At: s.At, Draw: s.Draw})
	}
	return out
}

// traffic is that of the ports on which the ends of radio links hang.
func traffic(ctx context.Context, book *store.Logbook, in *digest.In) error {
	in.Traffic = map[inventory.PortRef]inventory.Rates{}
	for _, l := range in.Plan.Links {
		for _, end := range l.Between {
			d, ok := in.Plan.Device(end)
			if !ok || d.At.IsZero() {
				continue
			}
			r, ok, err := book.Traffic(ctx, d.At, in.Since)
			if err != nil {
				return err
			}
			if ok {
				in.Traffic[d.At] = r
			}
		}
	}
	return nil
}
