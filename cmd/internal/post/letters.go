package post

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/diff/digest"
	"boundwalk/inventory"
	"boundwalk/store"
)

// HookTarget stands in the spool for the webhook's address, which may hold a
// token and is therefore never stored.
const HookTarget = "webhook"

// Message is the mail of a digest to one reader.
func Message(plan *inventory.Plan, d digest.Digest, to, id string, now time.Time) mail.Message {
	m := mail.Message{From: sender(plan), To: []string{to}, Subject: d.Subject, Text: d.Text, HTML: d.HTML, MessageID: id,
		Date: now.In(zone(plan)), Confidential: d.Confidential}
	for _, p := range d.Pictures {
		m.Inline = append(m.Inline, mail.Picture{CID: p.CID, PNG: p.PNG, Alt: p.Alt})
	}
	return m
}

func sender(plan *inventory.Plan) string {
	return cmp.Or(plan.Service.Mail.From, plan.Service.Mail.User)
}

func zone(plan *inventory.Plan) *time.Location { return cmp.Or(plan.Site.Location, time.UTC) }

// letter makes a letter to one reader. The same kind and occasion give the same
// key and Message-ID, so that no repetition is a second mail.
func letter(plan *inventory.Plan, kind, occasion, to string, d digest.Digest, now time.Time) (store.Letter, error) {
	id := mail.MessageID(plan.Site.Name, kind, occasion+"/"+to, sender(plan))
	body, err := mail.Build(Message(plan, d, to, id, now))
	if err != nil {
		return store.Letter{}, fmt.Errorf("mail to %s: %w", to, err)
	}
	return store.Letter{Kind: kind, Key: kind + "/" + occasion + "/" + to, Message: id, Target: to, Body: body}, nil
}

// Weekly makes the digest's letters, one for each reader of the plan: a reader
// with a bad address must not keep the others from theirs.
func Weekly(plan *inventory.Plan, in digest.In, occasion string) ([]store.Letter, error) {
	var out []store.Letter
	made := map[bool]digest.Digest{}
	for _, to := range plan.Service.Mail.To {
		d, ok := made[to.Short]
		if !ok {
			var err error
			in.Short = to.Short
			if d, err = digest.Build(in); err != nil {
				return nil, err
			}
			made[to.Short] = d
		}
		m, err := letter(plan, "digest", occasion, to.Address, d, in.Now)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// tellWindow and mostTold bound how often one finding is mailed: what comes
// and goes all day is for the weekly mail.
const (
	tellWindow = 24 * time.Hour
	mostTold   = 3
)

// Tell promises the mails that are owed between two digests: each urgent
// finding once when it came, and once when it is over. It reports how many
// letters it made. Without a reader nothing is promised, and nothing is marked.
// Notes are what these mails say beside, a sentence each.
func Tell(ctx context.Context, book *store.Logbook, plan *inventory.Plan, now time.Time, notes ...string) (int, error) {
	if !reachable(plan) {
		return 0, nil
	}
	eps, err := book.Episodes(ctx, now.Add(-30*24*time.Hour))
	if err != nil {
		return 0, err
	}
	hushes, err := book.Hushes(ctx, now)
	if err != nil {
		return 0, err
	}
	opened, over := owed(eps, hushes, now)
	n := 0
	for _, x := range []struct {
		kind string
		list []store.Episode
	}{{"urgent", opened}, {"over", over}} {
		if len(x.list) == 0 {
			continue
		}
		letters, err := newsLetters(plan, x.kind, x.list, now, notes)
		if err != nil {
			return n, err
		}
		var ids []int64
		for _, e := range x.list {
			ids = append(ids, e.ID)
		}
		if err := book.Told(ctx, ids, x.kind == "over", letters[0], now, letters[1:]...); err != nil {
			return n, err
		}
		n += len(letters)
	}
	return n, nil
}

func reachable(plan *inventory.Plan) bool {
	s := plan.Service
	return s.Webhook != "" || s.Mail.Server != "" && len(s.Mail.To) > 0
}

// owed are the urgent episodes that nobody was told of, and those told that
// are over without a word. What was folded into another cause is not over.
func owed(eps []store.Episode, hushes []store.Hush, now time.Time) (opened, over []store.Episode) {
	hushed := func(key string) bool {
		return slices.ContainsFunc(hushes, func(h store.Hush) bool { return h.Key == key || h.Key == store.HushAll })
	}
	told := map[string]int{}
	folded := map[string]bool{}
	for _, e := range eps {
		if !e.Told.IsZero() && now.Sub(e.Told) < tellWindow {
			told[e.Finding.Key]++
		}
		if e.Cleared.IsZero() {
			for _, name := range e.Finding.Behind {
				folded[name] = true
			}
		}
	}
	for _, e := range eps {
		f := e.Finding
		switch {
		case e.Cleared.IsZero() && e.Told.IsZero() && f.Severity == diff.Urgent && !hushed(f.Key) && told[f.Key] < mostTold:
			opened = append(opened, e)
		case !e.Cleared.IsZero() && !e.Told.IsZero() && e.Over.IsZero() && !folded[f.Subject]:
			over = append(over, e)
		}
	}
	return opened, over
}

func newsLetters(plan *inventory.Plan, kind string, list []store.Episode, now time.Time, notes []string) ([]store.Letter, error) {
	occasion := occasionOf(list)
	news := digest.News{Plan: plan, Now: now, Notes: notes}
	for _, e := range list {
		x := digest.Episode{Finding: e.Finding, Opened: e.Opened, Cleared: e.Cleared}
		if kind == "over" {
			news.Over = append(news.Over, x)
		} else {
			news.Opened = append(news.Opened, x)
		}
	}
	out, err := News(plan, news, kind, occasion)
	if err != nil || plan.Service.Webhook == "" {
		return out, err
	}
	body, err := hookBody(plan, kind, list, now)
	if err != nil {
		return nil, err
	}
	return append(out, store.Letter{Kind: "webhook", Key: "webhook/" + kind + "/" + occasion, Target: HookTarget, Body: body}), nil
}

// News makes the letters of news, one for each reader of the plan.
func News(plan *inventory.Plan, news digest.News, kind, occasion string) ([]store.Letter, error) {
	if plan.Service.Mail.Server == "" {
		return nil, nil
	}
	d, err := digest.Alert(news)
	if err != nil {
		return nil, err
	}
	var out []store.Letter
	for _, to := range plan.Service.Mail.To {
		m, err := letter(plan, kind, occasion, to.Address, d, news.Now)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// occasionOf names a set of episodes. Each is told once, so no two sets are the same.
func occasionOf(list []store.Episode) string {
	sum := sha256.New()
	for _, e := range list {
		fmt.Fprintf(sum, "%d %d\n", e.ID, e.Opened.Unix())
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// hookBody is what the webhook gets: the findings in the shape of the contract.
func hookBody(plan *inventory.Plan, kind string, list []store.Episode, now time.Time) ([]byte, error) {
	var fs []diff.Finding
	for _, e := range list {
		fs = append(fs, e.Finding)
	}
	var findings bytes.Buffer
	if err := report.FindingsJSON(&findings, fs, nil); err != nil {
		return nil, err
	}
	return json.Marshal(struct {
		Site     string          `json:"site"`
		Event    string          `json:"event"` // urgent or over
		At       time.Time       `json:"at"`
		Findings json.RawMessage `json:"findings"`
	}{plan.Site.Name, kind, now.UTC().Truncate(time.Second), findings.Bytes()})
}
