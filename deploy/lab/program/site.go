package program

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// A Site is a folder with a plan, and the machine that looks by it.
type Site struct {
	// In is the machine; nil is this one, for plans on loopback alone.
	In *netns.Namespace
	// Dir holds plan.yaml, what it names, and the logbook.
	Dir string
	// Under stands before the program on its command line, such as setpriv with
	// what it takes.
	Under []string

	t testing.TB
}

// NewSite makes an empty folder for the machine in, which may be nil.
func NewSite(t testing.TB, in *netns.Namespace) *Site {
	t.Helper()
	return &Site{In: in, Dir: t.TempDir(), t: t}
}

// Write writes a file of the site, for its owner alone, and returns its path.
func (s *Site) Write(name, text string) string {
	s.t.Helper()
	path := filepath.Join(s.Dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		s.t.Fatal(err)
	}
	return path
}

// Command prepares the program on the site's machine, with the site's plan.
func (s *Site) Command(args ...string) *exec.Cmd {
	s.t.Helper()
	argv := slices.Concat(s.Under, []string{Built(s.t)}, args)
	argv = append(argv, "--plan", filepath.Join(s.Dir, "plan.yaml"))
	if s.In != nil {
		argv = append([]string{"ip", "netns", "exec", s.In.Name}, argv...)
	}
	return exec.CommandContext(s.t.Context(), argv[0], argv[1:]...)
}

// Output runs the program to its end and returns what it wrote to standard
// output, what it said beside that, and its exit code.
func (s *Site) Output(args ...string) (stdout, stderr string, code int) {
	s.t.Helper()
	cmd := s.Command(args...)
	var out, words bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &words
	err := cmd.Run()
	if e, ok := errors.AsType[*exec.ExitError](err); ok {
		code = e.ExitCode()
	} else if err != nil {
		s.t.Fatalf("boundwalk %v: %v", args, err)
	}
	return out.String(), words.String(), code
}

// JSON decodes what a command writes with --json. The exits 0, 3 and 4 are those
// of a command that did what it was asked.
func (s *Site) JSON(v any, args ...string) {
	s.t.Helper()
	out, words, code := s.Output(append(args, "--json")...)
	if code != 0 && code != 3 && code != 4 {
		s.t.Fatalf("boundwalk %v ended with %d: %s", args, code, words)
	}
	if err := json.Unmarshal([]byte(out), v); err != nil {
		s.t.Fatalf("boundwalk %v: %v\n%s", args, err, out)
	}
}

// A Report is a run's by the contract, as far as tests look at it.
type Report struct {
	Run      struct{ ID int }
	Counts   struct{ Devices, Unknown, Ports int }
	Findings []Finding
	Coverage []struct{ What, Source, Result, Why string }
}

// A Finding is one of a report.
type Finding struct {
	Key, Kind, Severity, Subject, Where, Expected, Observed, Advice string
	Behind                                                          []string
}

// Run runs the program once and returns its report.
func (s *Site) Run(args ...string) *Report {
	s.t.Helper()
	r := &Report{}
	s.JSON(r, append([]string{"run"}, args...)...)
	return r
}

// Keys are those of the findings that are no mere notes, in order.
func (r *Report) Keys() []string {
	var out []string
	for _, f := range r.Findings {
		if f.Severity != "note" {
			out = append(out, f.Key)
		}
	}
	slices.Sort(out)
	return out
}

// Finding is the one with the key; zero where there is none.
func (r *Report) Finding(key string) Finding {
	for _, f := range r.Findings {
		if f.Key == key {
			return f
		}
	}
	return Finding{}
}

// Looked is how the look at something ended, with its reason behind it; empty
// where it was not looked at.
func (r *Report) Looked(what, source string) string {
	for _, c := range r.Coverage {
		if c.What == what && c.Source == source {
			return strings.TrimSpace(c.Result + " " + c.Why)
		}
	}
	return ""
}

// A Device is a line of show devices.
type Device struct {
	Name, Role, Vendor, Model, Hostname, Network, Presence, Where string

	Planned   bool
	MACs      []string
	Addresses []string
	RoleWhy   []string `json:"role_why"`
}

// Devices are the last run's, by name.
func (s *Site) Devices() map[string]Device {
	s.t.Helper()
	var rows []Device
	s.JSON(&rows, "show", "devices")
	m := map[string]Device{}
	for _, r := range rows {
		m[r.Name] = r
	}
	return m
}
