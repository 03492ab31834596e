// Package digest makes the weekly mail: findings, the last run and the past in,
// subject, text, HTML and pictures out. It is pure; whoever calls it reads the
// logbook and sends the mail.
//
// Text and HTML come from the same page of words, so they say the same. Nothing
// in the HTML is fetched from elsewhere, and nothing in it runs.
package digest

import (
	"fmt"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// In is what a digest is made of. Only Plan and Now are required; what is
// missing is said to be unknown, or left out.
type In struct {
	Plan     *inventory.Plan
	Snapshot *inventory.Snapshot // of the last complete run; nil: none yet
	History  *inventory.History
	Episodes []Episode // open at any time since Since, in any order
	Letters  []Letter  // earlier mails that did not arrive, or late
	Notices  []string  // what else the reader must know first, a sentence each
	Now      time.Time
	Since    time.Time // what the digest looks back to; zero: seven days
	Week     string    // the ISO week it is for, such as 2026-W48; empty: that of Now
	Runs     Runs
	Samples  Samples
	Traffic  map[inventory.PortRef]inventory.Rates // since Since
	Short    bool                                  // only what needs a hand
}

// Episode is a finding's span.
type Episode struct {
	Finding diff.Finding
	Opened  time.Time
	Cleared time.Time // zero: open
	Hushed  bool
	Until   time.Time // of the hush
	Why     string    // of the hush
}

// Letter is an earlier mail and what became of it.
type Letter struct {
	Kind   string // digest, urgent, over
	Queued time.Time
	State  string // failed, dropped, queued, sent
	Words  string // the mail server's, or the error
}

// Runs counts the runs since Since.
type Runs struct{ Complete, Stopped int }

// Samples are draws over the week, oldest first, for the pictures. [Wanted]
// says whose.
type Samples struct {
	Supplies map[inventory.SupplyRef][]Sample
	Ports    map[inventory.PortRef][]Sample
}

// Sample is a draw at a time.
type Sample struct {
	At   time.Time
	Draw inventory.Power
}

// Digest is one mail without its envelope.
type Digest struct {
	Subject      string // site, week and counts: no word of a device
	Text         string
	HTML         string // shows each picture as "cid:" and its CID
	Pictures     []Picture
	Confidential bool // it tells what a burglar would like to know
}

// Picture is a PNG.
type Picture struct {
	CID string
	PNG []byte
	Alt string
}

// Build makes the digest. The same In gives the same bytes. An error means
// that a picture could not be drawn.
func Build(in In) (Digest, error) {
	b := newBuilder(in)
	p := page{Title: b.title(), Intro: b.intro(), Notices: b.notices()}
	p.Sections = append(p.Sections, b.hand())
	var pictures []Picture
	if !in.Short {
		var err error
		if pictures, err = b.pictures(); err != nil {
			return Digest{}, fmt.Errorf("digest: %w", err)
		}
		for _, s := range []section{b.changes(), b.power(pictures), b.links(), b.unseen(), b.coming()} {
			if !s.empty() {
				p.Sections = append(p.Sections, s)
			}
		}
	}
	p.Foot = "This mail comes every week, also when all is as planned. If it stays away, look at the machine that sends it."
	html, err := p.html()
	if err != nil {
		return Digest{}, fmt.Errorf("digest: %w", err)
	}
	return Digest{Subject: b.subject(), Text: p.text(), HTML: html, Pictures: pictures, Confidential: b.confidential()}, nil
}

// builder is a digest in the making.
type builder struct {
	In
	loc    *time.Location
	open   []Episode // neither cleared nor hushed, most pressing first
	hushed []Episode
	stale  bool // the last run is too old to speak of today
}

// The last run may be so much older than the digest before the digest says so.
const freshFor = 25 * time.Hour

func newBuilder(in In) *builder {
	b := &builder{In: in, loc: time.UTC}
	if b.Plan == nil {
		b.Plan = &inventory.Plan{}
	}
	if b.History == nil {
		b.History = &inventory.History{}
	}
	if b.Plan.Site.Location != nil {
		b.loc = b.Plan.Site.Location
	}
	if b.Since.IsZero() {
		b.Since = b.Now.AddDate(0, 0, -7)
	}
	if b.Week == "" {
		year, week := b.Now.In(b.loc).ISOWeek()
		b.Week = fmt.Sprintf("%04d-W%02d", year, week)
	}
	b.stale = b.Snapshot == nil || b.Now.Sub(b.Snapshot.Finished) > freshFor
	for _, e := range b.Episodes {
		switch {
		case !e.Cleared.IsZero():
		case e.Hushed:
			b.hushed = append(b.hushed, e)
		default:
			b.open = append(b.open, e)
		}
	}
	b.sortOpen()
	return b
}

// confidential: what lists dead cameras, or doors that open, is not for everyone.
func (b *builder) confidential() bool {
	for _, e := range b.Episodes {
		if b.Short && (!e.Cleared.IsZero() || e.Hushed) {
			continue
		}
		switch e.Finding.Kind {
		case diff.FactoryLogin, diff.NotInitialised, diff.DefaultCommunity, diff.UnencryptedManagement, diff.WeakSNMP, diff.CutOff:
			return true
		}
		for _, name := range append([]string{inventory.ParsePortRef(e.Finding.Subject).Device}, e.Finding.Behind...) {
			if d, ok := b.Plan.Device(name); ok && (d.Role == inventory.Camera || d.Role == inventory.Recorder) {
				return true
			}
		}
		for i := range b.Plan.Devices { // a port that a camera hangs on
			d := &b.Plan.Devices[i]
			if d.Role == inventory.Camera && d.At.String() == e.Finding.Where && e.Finding.Where != "" {
				return true
			}
		}
	}
	return false
}
