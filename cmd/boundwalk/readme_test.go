package main

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"
)

func readme(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// typed is a command of a transcript with what the transcript shows of its answer.
type typed struct {
	command string
	answer  []string // lines; "…" for what is left out
}

// transcript is the README's part under a title.
func transcript(t *testing.T, title string) []typed {
	t.Helper()
	_, rest, ok := strings.Cut(readme(t), "\n## "+title+"\n")
	if !ok {
		t.Fatalf("the README has no part %q", title)
	}
	part, _, _ := strings.Cut(rest, "\n## ")
	var out []typed
	for line := range strings.SplitSeq(part, "\n") {
		line, shown := strings.CutPrefix(line, "    ")
		command, isCommand := strings.CutPrefix(line, "$ ")
		switch {
		case isCommand && shown:
			out = append(out, typed{command: command})
		case shown && len(out) > 0:
			out[len(out)-1].answer = append(out[len(out)-1].answer, line)
		}
	}
	return out
}

// words of a command line; only double quotes are told.
func shellWords(line string) []string {
	var out []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			out = append(out, part)
		} else {
			out = append(out, strings.Fields(part)...)
		}
	}
	return out
}

// moment is a time of the day it was written on, or is run on.
var moment = regexp.MustCompile(`\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} [A-Z][a-z]{2}( \d{4})? \d\d:\d\d\b`)

// plainWords is text without its line breaks, with one word for every moment.
func plainWords(s string) string { return moment.ReplaceAllString(unwrapped(s), "MOMENT") }

// What the README shows of the example site is what the commands answer, in the
// same order; lines may break elsewhere, and times differ.
func TestReadmeTranscript(t *testing.T) {
	commands := transcript(t, "A walk around it")
	if len(commands) < 8 {
		t.Fatalf("only %d commands: %q", len(commands), commands)
	}
	s := startYard(t)
	s.drift(t)
	t.Chdir(s.dir)
	for _, c := range commands {
		args := shellWords(c.command)
		if args[0] != "boundwalk" {
			continue
		}
		var out bytes.Buffer
		if code := run(t.Context(), args[1:], strings.NewReader(""), &out, &out); code == exitFailed || code == exitUsage {
			t.Errorf("%s: exit %d\n%s", c.command, code, out.String())
		}
		got, at := plainWords(out.String()), 0
		for piece := range strings.SplitSeq(strings.Join(c.answer, "\n"), "…") {
			want := plainWords(piece)
			i := strings.Index(got[at:], want)
			if i < 0 {
				t.Errorf("%s: the README shows\n%s\nwhich is not in\n%s", c.command, piece, out.String())
				break
			}
			at += i + len(want)
		}
	}
}

// readmeCommand is a command in the README's text, tables and examples.
var readmeCommand = regexp.MustCompile("(?m)(?:^    |`|\"|\\$ )boundwalk ([a-z][^`\n#]*)")

// Every command that the README names is there, with its options.
func TestReadmeCommands(t *testing.T) {
	found := 0
	for _, m := range readmeCommand.FindAllStringSubmatch(readme(t), -1) {
		line, _, _ := strings.Cut(m[1], `\|`) // one of several
		line, _, _ = strings.Cut(line, `" `)
		root := (&app{}).root()
		c, rest, err := root.Find(shellWords(line))
		if err == nil && c == root {
			t.Errorf("%q: no such command", m[0])
			continue
		}
		if err == nil {
			err = c.ParseFlags(rest)
		}
		if err != nil {
			t.Errorf("%q: %v", m[0], err)
		}
		found++
	}
	if found < 20 {
		t.Errorf("only %d commands were found", found)
	}
}
