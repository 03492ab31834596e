package report

import (
	"encoding/json"
	"io"
	"time"

	"boundwalk/cmd/internal/pass"
	"boundwalk/diff"
)

// The shapes of the contract: keys may be added, none changes its meaning.
// Unknown values are null, times RFC 3339 in UTC.

type runJSON struct {
	Site     string         `json:"site"`
	Run      runHead        `json:"run"`
	Counts   counts         `json:"counts"`
	Findings []findingJSON  `json:"findings"`
	Coverage []coverageJSON `json:"coverage"`
}

type runHead struct {
	ID       int64      `json:"id"`
	Started  *time.Time `json:"started"`
	Finished *time.Time `json:"finished"`
	Complete bool       `json:"complete"`
	Settling bool       `json:"settling"`
}

type counts struct {
	Devices  int `json:"devices"`
	Unknown  int `json:"unknown"`
	Private  int `json:"private"` // made-up addresses behind access points
	Ports    int `json:"ports"`
	Findings int `json:"findings"`
}

type findingJSON struct {
	Key      string     `json:"key"`
	Kind     string     `json:"kind"`
	Severity string     `json:"severity"`
	Subject  string     `json:"subject"`
	Title    string     `json:"title"`
	Where    *string    `json:"where"`
	Expected *string    `json:"expected"`
	Observed *string    `json:"observed"`
	Basis    *string    `json:"basis"`
	Since    *time.Time `json:"since"`
	Advice   *string    `json:"advice"`
	Caution  *string    `json:"caution"`
	Behind   []string   `json:"behind"`
	Hushed   *string    `json:"hushed"`
}

type coverageJSON struct {
	What   string  `json:"what"`
	Source string  `json:"source"`
	Result string  `json:"result"`
	Why    *string `json:"why"`
}

// text is nil where there is none.
func text[T ~string](s T) *string {
	if s == "" {
		return nil
	}
	t := string(s)
	return &t
}

func at(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC().Truncate(time.Second)
	return &t
}

func findingsJSON(fs []diff.Finding, hushed map[string]string) []findingJSON {
	out := make([]findingJSON, 0, len(fs))
	for _, f := range fs {
		j := findingJSON{Key: f.Key, Kind: string(f.Kind), Severity: string(f.Severity), Subject: f.Subject, Title: f.Title(), Where: text(f.Where),
			Expected: text(f.Expected), Observed: text(f.Observed), Basis: text(f.Basis), Since: at(f.Since), Advice: text(f.Advice),
			Caution: text(f.Caution), Behind: append([]string{}, f.Behind...)}
		if why, ok := hushed[f.Key]; ok {
			j.Hushed = &why
		}
		out = append(out, j)
	}
	return out
}

// RunJSON writes one run by the contract.
func RunJSON(w io.Writer, r *pass.Result) error {
	s := r.Snapshot
	n := s.Headcount()
	j := runJSON{Site: r.Plan.Site.Name, Run: runHead{ID: r.ID, Started: at(s.Started), Finished: at(s.Finished), Complete: !s.Aborted, Settling: r.Settling},
		Counts:   counts{Devices: len(s.Devices), Unknown: n.Unknown, Private: n.Private, Ports: len(s.Ports), Findings: len(r.Findings)},
		Findings: findingsJSON(r.Findings, r.Hushed), Coverage: []coverageJSON{}}
	for _, c := range s.Coverage {
		j.Coverage = append(j.Coverage, coverageJSON{What: c.What(), Source: c.Source, Result: string(c.Result), Why: text(c.Why)})
	}
	return write(w, j)
}

// PaperJSON writes what check found, in the same shape.
func PaperJSON(w io.Writer, site string, fs []diff.Finding) error {
	return write(w, struct {
		Site     string        `json:"site"`
		Findings []findingJSON `json:"findings"`
	}{site, findingsJSON(fs, nil)})
}

// FindingsJSON writes a list of findings.
func FindingsJSON(w io.Writer, fs []diff.Finding, hushed map[string]string) error {
	return write(w, findingsJSON(fs, hushed))
}

func write(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
