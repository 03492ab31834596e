package digest

import (
	"fmt"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// News is what a mail between two digests tells. Plan and Now are required.
type News struct {
	Plan   *inventory.Plan
	Opened []Episode // urgent ones that came
	Over   []Episode // those told before that are over
	Notes  []string  // a sentence each, such as of an outage
	Now    time.Time
}

// Alert makes the mail of news. Where it is about one thing, the subject names
// it if the plan does; a device's own words are never in it.
func Alert(n News) (Digest, error) {
	b := newBuilder(In{Plan: n.Plan, Now: n.Now, Episodes: n.Opened, Since: n.Now.AddDate(-100, 0, 0)})
	site := inventory.Clean(b.Plan.Site.Name)
	p := page{Title: site + ": " + b.newsWords(n), Intro: []string{b.whole(n.Now) + "."}}
	for _, s := range n.Notes {
		p.Notices = append(p.Notices, clean(s))
	}
	now := section{Title: "What needs a hand now"}
	for _, e := range b.open[:min(len(b.open), mostItems)] {
		it := b.item(e)
		it.Fresh = false
		now.Items = append(now.Items, it)
	}
	if rest := len(b.open) - len(now.Items); rest > 0 {
		now.Foot = append(now.Foot, fmt.Sprintf(`%d more: "boundwalk show findings" lists them.`, rest))
	}
	over := section{Title: "What is over"}
	for _, e := range n.Over {
		over.Rows = append(over.Rows, row{"over", b.ending(e) + ", after " + span(e.Cleared.Sub(e.Opened))})
	}
	over.Rows = capped(over.Rows)
	for _, s := range []section{now, over} {
		if !s.empty() {
			p.Sections = append(p.Sections, s)
		}
	}
	p.Foot = "Urgent findings are mailed once when they come and once when they are over. All else is in the weekly mail."
	html, err := p.html()
	if err != nil {
		return Digest{}, fmt.Errorf("alert: %w", err)
	}
	b.Episodes = append(b.Episodes, n.Over...)
	return Digest{Subject: p.Title, Text: p.text(), HTML: html, Confidential: b.confidential()}, nil
}

// newsWords are the subject without the site.
func (b *builder) newsWords(n News) string {
	var parts []string
	for _, x := range []struct {
		word string
		list []Episode
	}{{"urgent", n.Opened}, {"over", n.Over}} {
		switch len(x.list) {
		case 0:
		case 1:
			parts = append(parts, x.word+": "+b.plainTitle(x.list[0].Finding))
		default:
			parts = append(parts, fmt.Sprintf("%d %s", len(x.list), x.word))
		}
	}
	if len(parts) == 0 {
		return "news"
	}
	return strings.Join(parts, ", ")
}

// plainTitle is a finding's title if its subject is a word of the plan, else its kind.
func (b *builder) plainTitle(f diff.Finding) string {
	name, _, _ := strings.Cut(inventory.ParsePortRef(f.Subject).Device, " supply ")
	_, device := b.Plan.Device(name)
	_, network := b.Plan.NetworkNamed(f.Subject)
	if device || network || f.Kind == diff.CutOff {
		return inventory.CleanTo(f.Title(), 120)
	}
	return strings.ReplaceAll(string(f.Kind), "-", " ")
}
