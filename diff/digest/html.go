package digest

import (
	_ "embed"
	"html/template"
	"strings"

	"boundwalk/diff"
)

// Mail programs drop style sheets that they do not understand and keep inline
// styles, so all that matters is inline; the style block only turns the colours
// over where the reader has a dark screen.
//
//go:embed digest.html
var pageText string

// look is how a severity is shown.
type look struct{ Word, Color, Class string }

var looks = map[diff.Severity]look{
	diff.Urgent:  {"urgent", "#a3202a", "u"},
	diff.Warning: {"warning", "#85560b", "w"},
	diff.Note:    {"note", "#4b5a68", "n"},
}

var pageTemplate = template.Must(template.New("digest").Funcs(template.FuncMap{
	"look":  func(s diff.Severity) look { return looks[s] },
	"since": item.since,
	"cid":   func(cid string) template.URL { return template.URL("cid:" + cid) }, // ours: letters and digits
}).Parse(pageText))

// Parts of a bar in whole percent, for table cells. They sum to 100.

// NowPart is what is drawn at present.
func (b bar) NowPart() int { return int(100*b.Now + 0.5) }

// PeakPart is what the peak adds to it.
func (b bar) PeakPart() int { return max(int(100*b.Peak+0.5)-b.NowPart(), 0) }

// RestPart is what is left below the limit.
func (b bar) RestPart() int { return 100 - b.NowPart() - b.PeakPart() }

func (p page) html() (string, error) {
	var s strings.Builder
	if err := pageTemplate.Execute(&s, p); err != nil {
		return "", err
	}
	return s.String(), nil
}
