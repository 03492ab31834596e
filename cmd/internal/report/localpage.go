package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Site is what the local page shows of a site.
type Site struct {
	Plan     *inventory.Plan
	History  *inventory.History // its Previous is the last complete run; nil: none yet
	Past     map[string]store.DeviceRow
	Findings []diff.Finding // the open ones that are not hushed
	Hushed   int
	Runs     []store.RunRow
	Notices  []string // what the reader must know first, such as a plan that does not load
	Refresh  time.Duration
}

//go:embed localpage.html
var localPage string

var localPageTemplate = template.Must(template.New("page").Parse(localPage))

// LocalPage writes the site as one HTML page: no scripts, nothing from elsewhere.
func LocalPage(w io.Writer, site Site) error {
	v := pageView{Site: site.Plan.Site.Name, Notices: site.Notices, Refresh: int(site.Refresh.Seconds()), Hushed: site.Hushed}
	loc := site.Plan.Site.Location
	for _, h := range heads {
		g := pageGroup{Word: h.word, Class: string(h.severity)}
		for _, f := range site.Findings {
			if f.Severity == h.severity {
				g.Findings = append(g.Findings, pageFinding{headline(f), particulars(f, loc)})
			}
		}
		if len(g.Findings) > 0 {
			v.Groups = append(v.Groups, g)
		}
	}
	v.Tables = append(v.Tables, htmlTable("Runs", "", runsTable(site.Runs, loc)))
	if snap := site.History.Previous; snap != nil {
		if err := v.see(snap, site); err != nil {
			return err
		}
	}
	return localPageTemplate.Execute(w, v)
}

type pageView struct {
	Site    string
	Seen    string // when, and how many devices; empty: no run yet
	Notices []string
	Groups  []pageGroup
	Hushed  int
	Tables  []pageTable
	Tree    string
	Unseen  []string
	Refresh int // seconds; zero: never
}

type pageGroup struct {
	Word, Class string
	Findings    []pageFinding
}

type pageFinding struct {
	Title       string
	Particulars []particular
}

type pageTable struct {
	Title, Note string
	Folded      bool
	Head        []pageCell
	Rows        [][]pageCell
}

// pageCell is one cell. Percent is that of a share, else -1.
type pageCell struct {
	Text    string
	Right   bool
	Percent int
}

// see adds what the last run saw.
func (v *pageView) see(snap *inventory.Snapshot, site Site) error {
	loc := site.Plan.Site.Location
	v.Seen = fmt.Sprintf("Last seen %s: %s.", Clock(snap.Finished, loc), present(snap.Headcount()))
	tables := []pageTable{htmlTable("Power", suppliesNote, suppliesTable(snap, site.History)), htmlTable("Mains", "", upsTable(snap)),
		htmlTable("Devices", "", devicesTable(snap, site.Past))}
	for _, s := range portedSwitches(snap) {
		t, nights := portsTable(snap, site.History, s)
		note := peakNote
		if len(nights) > 0 {
			note += " No night sample yet: " + strings.Join(nights, ", ") + "."
		}
		h := htmlTable("Ports of "+s, note, t)
		h.Folded = true
		tables = append(tables, h)
	}
	v.Tables = append(tables, v.Tables...)
	var tree bytes.Buffer
	if err := Tree(&tree, snap, Style{Width: 80}); err != nil {
		return err
	}
	v.Tree, v.Unseen = tree.String(), unseen(snap)
	return nil
}

func htmlTable(title, note string, t *table) pageTable {
	out := pageTable{Title: title, Note: note}
	cell := func(i int, text string) pageCell {
		c := pageCell{Text: text, Right: t.right[t.head[i]], Percent: -1}
		if figure, ok := strings.CutSuffix(text, " %"); ok && t.head[i] == "share" {
			if n, err := strconv.Atoi(figure); err == nil {
				c.Percent = n
			}
		}
		return c
	}
	for i, h := range t.head {
		out.Head = append(out.Head, cell(i, h))
	}
	for _, r := range t.rows {
		var row []pageCell
		for i, c := range r {
			row = append(row, cell(i, c))
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}
