package digest_test

import (
	"slices"
	"strings"
	"testing"
	"unicode"

	"boundwalk/diff"
	"boundwalk/diff/digest"
	"boundwalk/inventory"

	"github.com/mattn/go-runewidth"
	"golang.org/x/net/html"
)

// letters keeps what says something: both forms must have the same.
func letters(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '%' || r == '\ufffd' {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// seen is the text that a reader of the HTML sees. It fails on anything in it that
// runs, or comes from elsewhere.
func seen(t testing.TB, page string) string {
	t.Helper()
	var words strings.Builder
	hidden := ""
	z := html.NewTokenizer(strings.NewReader(page))
	for {
		switch z.Next() {
		case html.ErrorToken:
			return words.String()
		case html.TextToken:
			if hidden == "" {
				words.WriteString(string(z.Text()) + " ")
			}
		case html.EndTagToken:
			if name, _ := z.TagName(); string(name) == hidden {
				hidden = ""
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			token := z.Token()
			allowed := []string{"html", "head", "meta", "title", "style", "body", "table", "tr", "td", "h1", "h2", "p", "b", "br", "span", "img"}
			if !slices.Contains(allowed, token.Data) {
				t.Errorf("there is a <%s> in it", token.Data)
			}
			if token.Data == "title" || token.Data == "style" {
				hidden = token.Data
			}
			for _, a := range token.Attr {
				if strings.HasPrefix(a.Key, "on") || a.Key == "href" || a.Key == "src" && !strings.HasPrefix(a.Val, "cid:") || strings.Contains(a.Val, "url(") {
					t.Errorf("<%s %s=%q>", token.Data, a.Key, a.Val)
				}
			}
		}
	}
}

func TestTextAndHTMLSayTheSame(t *testing.T) {
	for name, in := range map[string]digest.In{"quiet": quiet(t), "busy": busy(t), "hostile": hostile(t, evil)} {
		t.Run(name, func(t *testing.T) {
			d := build(t, in)
			if text, page := letters(d.Text), letters(seen(t, d.HTML)); text != page {
				t.Errorf("text:\n%s\nHTML:\n%s", text, page)
			}
		})
	}
}

// hostile has the name wherever a device's word, or a damaged logbook, may stand.
func hostile(t testing.TB, name string) digest.In {
	in := busy(t)
	in.Plan.Site.Name = name
	f := diff.New(diff.UnknownDevice, name)
	f.Where, f.Expected, f.Observed, f.Advice, f.Caution, f.Behind = name+"/1", name, name, name, name, []string{name, name + "2"}
	in.Episodes = append(in.Episodes, digest.Episode{Finding: f, Opened: monday}, digest.Episode{Finding: f, Hushed: true, Until: monday, Why: name},
		digest.Episode{Finding: f, Opened: monday, Cleared: monday})
	in.Letters = append(in.Letters, digest.Letter{Kind: "digest", Queued: monday, State: "failed", Words: name})
	in.Notices = append(in.Notices, name)
	in.Plan.Links[0].Name = name
	in.Snapshot.Radios[0].Why, in.Snapshot.Radios[0].Level, in.Snapshot.Radios[0].Rate = name, nil, nil
	in.Snapshot.Coverage = append(in.Snapshot.Coverage, inventory.Coverage{Subject: name, Table: name, Result: inventory.NoAnswer, Why: name})
	in.Snapshot.Ports[0].Switch, in.Snapshot.Ports[1].Planned = name, []string{name}
	in.Snapshot.Supplies[0].Switch = name
	in.Snapshot.Networks = append(in.Snapshot.Networks, inventory.NetworkState{Name: name, Private: 2})
	in.Snapshot.Capped = []string{name}
	in.Snapshot.Devices[7].Name = name
	in.History.Outages = append(in.History.Outages, inventory.Outage{From: monday, To: monday, What: name})
	return in
}

func checkHostile(t testing.TB, in digest.In, name string) {
	d := build(t, in)
	seen(t, d.HTML)
	for _, r := range d.Subject {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			t.Errorf("subject %q", d.Subject)
		}
	}
	for line := range strings.Lines(d.Text) {
		line = strings.TrimSuffix(line, "\n")
		if w := runewidth.StringWidth(line); w > 72 {
			t.Errorf("%d columns: %q", w, line)
		}
		for _, r := range line {
			if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
				t.Errorf("%q", line)
			}
		}
	}
	if n := len(d.Text) + len(d.HTML); n > 400_000 {
		t.Errorf("%d bytes of mail from a name of %d", n, len(name))
	}
}

func TestHostileNames(t *testing.T) {
	for _, name := range []string{evil, strings.Repeat("A", 10_000), strings.Repeat(evil, 100), strings.Repeat("船", 500), strings.Repeat("\u0301", 500), ""} {
		checkHostile(t, hostile(t, name), name)
	}
}

// Without pictures, which hold no words but a port's name and cost too much here.
func FuzzBuild(f *testing.F) {
	f.Add(evil, int64(130_000), int64(24_000))
	f.Add("", int64(0), int64(-1))
	f.Add(strings.Repeat("x", 100), int64(1)<<40, int64(1)<<50)
	f.Fuzz(func(t *testing.T, name string, budget, used int64) {
		in := hostile(t, name)
		in.Samples = digest.Samples{}
		b, u := inventory.Power(budget), inventory.Power(used)
		in.Snapshot.Supplies[0].Budget, in.Snapshot.Supplies[0].Used = &b, &u
		in.Snapshot.Ports[0].Power.Grant = &b
		checkHostile(t, in, name)
	})
}
