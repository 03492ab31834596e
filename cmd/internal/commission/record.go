package commission

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"time"

	"boundwalk/cmd/internal/report"
)

// Text writes the records for a terminal.
func Text(w io.Writer, rs []Record, loc *time.Location, style report.Style) error {
	for i, r := range rs {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s, %s\n%s, by %s. Confidential.\n\n", r.Site, r.title(), date(r.At, loc), r.Plan)
		for _, s := range r.Steps {
			if err := report.Judged(w, string(s.State), s.What, s.Found, s.Do, style); err != nil {
				return err
			}
			if s.Caution != "" {
				if err := report.Judged(w, "", "caution", s.Caution, "", style); err != nil {
					return err
				}
			}
		}
		if _, err := fmt.Fprintf(w, "\n%s\n%s\n", r.sum(), r.kept()); err != nil {
			return err
		}
		if r.Entry != "" {
			fmt.Fprintf(w, "\n%s:\n\n%s", r.entryTitle(), r.Entry)
		}
	}
	return nil
}

func (r Record) title() string {
	where := ""
	if r.Where != "" {
		where = " at " + r.Where
	}
	if r.Planned || len(r.Steps) > 0 && r.Steps[0].What == "arrival" {
		return r.Device + where
	}
	return r.Device + where + ", not in the plan"
}

func (r Record) sum() string {
	n := map[State]int{}
	for _, s := range r.Steps {
		n[s.State]++
	}
	verdict := "Proved"
	switch {
	case n[Fail] > 0:
		verdict = "Not proved"
	case n[Unknown] > 0:
		verdict = "Proved as far as it can be seen"
	}
	return fmt.Sprintf("%s: %d pass, %d warn, %d fail, %d unknown.", verdict, n[Pass], n[Warn], n[Fail], n[Unknown])
}

// kept says where the record is to be found again.
func (r Record) kept() string {
	switch {
	case r.Run != nil && r.Unkept == "":
		return fmt.Sprintf("Kept with run %d of the logbook.", *r.Run)
	case r.Run != nil:
		return fmt.Sprintf("Run %d of the logbook knows of it: %s.", *r.Run, r.Unkept)
	case r.Unkept != "":
		return "Not kept in a logbook: " + r.Unkept + "."
	}
	return "Not kept in a logbook: there is nothing to keep."
}

func (r Record) entryTitle() string {
	if r.Check == "" {
		return "For the plan"
	}
	return "For the plan, and " + r.Check
}

// date is a day with the time and its zone: the page may be read elsewhere.
func date(t time.Time, loc *time.Location) string {
	if loc == nil {
		loc = time.UTC
	}
	return t.In(loc).Format("Mon 2 Jan 2006 15:04 MST")
}

//go:embed record.html
var page string

var pageTemplate = template.Must(template.New("record").Parse(page))

// HTML writes the records as a page to print, each on its own sheet, with room for a name.
func HTML(w io.Writer, rs []Record, loc *time.Location) error {
	type shown struct {
		Record
		Title, Sum, Date, Kept, ForPlan string
		Addresses                       []string
	}
	var out []shown
	for _, r := range rs {
		s := shown{Record: r, Title: r.title(), Sum: r.sum(), Date: date(r.At, loc), Kept: r.kept(), ForPlan: r.entryTitle()}
		for _, m := range r.MACs {
			s.Addresses = append(s.Addresses, m.String())
		}
		out = append(out, s)
	}
	return pageTemplate.Execute(w, out)
}
