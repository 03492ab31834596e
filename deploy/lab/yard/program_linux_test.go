package yard

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

	"boundwalk/deploy/lab/bridgemib"
	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
)

func TestMain(m *testing.M) {
	if bridgemib.Extend() {
		return
	}
	os.Exit(program.Main(m))
}

// site is a folder with a plan, and the machine that looks by it.
type site struct {
	t   *testing.T
	in  *netns.Namespace // nil: this machine, by loopback alone
	dir string
	env []string
}

func newSite(t *testing.T, in *netns.Namespace) *site {
	t.Helper()
	return &site{t: t, in: in, dir: t.TempDir()}
}

func (s *site) write(name, text string) string {
	s.t.Helper()
	path := filepath.Join(s.dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		s.t.Fatal(err)
	}
	return path
}

// command prepares the program on the site's machine.
func (s *site) command(args ...string) *exec.Cmd {
	s.t.Helper()
	argv := append([]string{program.Built(s.t)}, args...)
	argv = append(argv, "--plan", filepath.Join(s.dir, "plan.yaml"))
	if s.in != nil {
		argv = append([]string{"ip", "netns", "exec", s.in.Name}, argv...)
	}
	cmd := exec.CommandContext(s.t.Context(), argv[0], argv[1:]...)
	cmd.Env = append(os.Environ(), s.env...)
	return cmd
}

// boundwalk runs the program to its end and gives what it wrote to standard
// output, what it said beside that, and its exit code.
func (s *site) boundwalk(args ...string) (stdout, stderr string, code int) {
	s.t.Helper()
	cmd := s.command(args...)
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

// report is a run's, as far as the tests look at it.
type report struct {
	Run      struct{ ID int }
	Counts   struct{ Devices, Unknown, Ports int }
	Findings []finding
	Coverage []struct{ What, Source, Result, Why string }
}

type finding struct {
	Key, Severity, Subject, Where, Expected, Observed, Advice string
	Behind                                                    []string
}

// keys are those of the findings that are no mere notes.
func (r *report) keys() []string {
	var out []string
	for _, f := range r.Findings {
		if f.Severity != "note" {
			out = append(out, f.Key)
		}
	}
	slices.Sort(out)
	return out
}

func (r *report) finding(key string) finding {
	for _, f := range r.Findings {
		if f.Key == key {
			return f
		}
	}
	return finding{}
}

// looked is how the look at something ended, with its reason behind it.
func (r *report) looked(what, source string) string {
	for _, c := range r.Coverage {
		if c.What == what && c.Source == source {
			return strings.TrimSpace(c.Result + " " + c.Why)
		}
	}
	return ""
}

// run runs the program once and reads its report. 0, 3 and 4 are the exits of a run
// that was made.
func (s *site) run(args ...string) *report {
	s.t.Helper()
	out, words, code := s.boundwalk(append([]string{"run", "--json"}, args...)...)
	r := &report{}
	if code != 0 && code != 3 && code != 4 {
		s.t.Fatalf("run ended with %d: %s", code, words)
	}
	s.decode(out, r)
	return r
}

// show decodes what a show command writes.
func (s *site) show(v any, args ...string) {
	s.t.Helper()
	out, words, code := s.boundwalk(append([]string{"show", "--json"}, args...)...)
	if code != 0 {
		s.t.Fatalf("show %v ended with %d: %s", args, code, words)
	}
	s.decode(out, v)
}

func (s *site) decode(text string, v any) {
	s.t.Helper()
	if err := json.Unmarshal([]byte(text), v); err != nil {
		s.t.Fatalf("%v\n%s", err, text)
	}
}
