package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"boundwalk/cmd/internal/sheet"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

// What a shell offers when it completes a word comes from the plan and the
// logbook. Where they cannot be read there is nothing to offer, and no error to show.

// nothing offers no word, and no file either.
func nothing(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveNoFileComp
}

// oneOf offers fixed words.
func oneOf(list ...string) cobra.CompletionFunc {
	return func(_ *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
		return offer(slices.Clone(list), have, word)
	}
}

// inTurn lets a command complete its first words: one function for each.
func inTurn(each ...cobra.CompletionFunc) cobra.CompletionFunc {
	return func(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
		if len(have) >= len(each) {
			return nothing(c, have, word)
		}
		return each[len(have)](c, have, word)
	}
}

// completeKeys offers the keys of open findings of some kinds, or of all.
func (a *app) completeKeys(kinds ...diff.Kind) cobra.CompletionFunc {
	return func(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
		l, err := a.bookToComplete(c)
		if err != nil {
			return nothing(c, have, word)
		}
		defer l.Close()
		eps, err := l.Episodes(c.Context(), time.Time{})
		if err != nil {
			return nothing(c, have, word)
		}
		var keys []string
		for _, e := range eps {
			if f := e.Finding; len(kinds) == 0 || slices.Contains(kinds, f.Kind) {
				keys = append(keys, cobra.CompletionWithDesc(f.Key, f.Title()))
			}
		}
		return offer(keys, have, word)
	}
}

// completeHushed offers what is quiet.
func (a *app) completeHushed(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
	l, err := a.bookToComplete(c)
	if err != nil {
		return nothing(c, have, word)
	}
	defer l.Close()
	list, err := l.Hushes(c.Context(), time.Now())
	if err != nil {
		return nothing(c, have, word)
	}
	var keys []string
	for _, h := range list {
		key := h.Key
		if key == store.HushAll {
			key = "all"
		}
		keys = append(keys, cobra.CompletionWithDesc(key, h.Why))
	}
	return offer(keys, have, word)
}

func (a *app) bookToComplete(c *cobra.Command) (*store.Logbook, error) {
	path, err := a.findPlan()
	if err != nil && a.logbookPath == "" {
		return nil, err
	}
	return store.OpenReader(c.Context(), a.findLogbook(path))
}

// completeSeen offers the devices of the last run, planned or not.
func (a *app) completeSeen(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
	l, err := a.bookToComplete(c)
	if err != nil {
		return nothing(c, have, word)
	}
	defer l.Close()
	snap, _, err := l.Snapshot(c.Context())
	if err != nil || snap == nil {
		return nothing(c, have, word)
	}
	var names []string
	for _, d := range snap.Devices {
		names = append(names, cobra.CompletionWithDesc(d.Name, string(d.Role)))
	}
	return offer(names, have, word)
}

func (a *app) completeDevices(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
	return a.completeFromPlan(have, word, func(*inventory.Device) bool { return true })
}

// completeSwitches offers what has ports.
func (a *app) completeSwitches(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
	return a.completeFromPlan(have, word, func(d *inventory.Device) bool { return d.Ports > 0 || d.Role == inventory.Switch })
}

func (a *app) completeFromPlan(have []string, word string, fits func(*inventory.Device) bool) ([]cobra.Completion, cobra.ShellCompDirective) {
	plan := a.planToComplete()
	var names []string
	for i := range plan.Devices {
		if d := &plan.Devices[i]; fits(d) {
			names = append(names, cobra.CompletionWithDesc(d.Name, strings.TrimSpace(string(d.Role)+" "+d.At.String())))
		}
	}
	return offer(names, have, word)
}

// planToComplete is the plan, or an empty one.
func (a *app) planToComplete() *inventory.Plan {
	path, err := a.findPlan()
	if err != nil {
		return &inventory.Plan{}
	}
	f, err := planfile.ReadFile(path)
	if err != nil {
		return &inventory.Plan{}
	}
	return f.Plan
}

// completeCandidate offers the parts of ROLE,CLASS,SWITCH/PORT one after the other.
func (a *app) completeCandidate(_ *cobra.Command, _ []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
	i := strings.LastIndexByte(word, ',') + 1
	var next []string
	switch strings.Count(word, ",") {
	case 0:
		for _, r := range inventory.Roles {
			next = append(next, string(r)+",")
		}
	case 1:
		for n := range 9 {
			next = append(next, fmt.Sprintf("%sclass%d,", word[:i], n))
		}
	case 2:
		for _, p := range freePorts(a.planToComplete()) {
			next = append(next, word[:i]+p.String()+",")
		}
	}
	list, how := offer(next, nil, word)
	return list, how | cobra.ShellCompDirectiveNoSpace
}

// freePorts are the numbered ports on which the plan has nothing.
func freePorts(plan *inventory.Plan) []inventory.PortRef {
	used := map[inventory.PortRef]bool{}
	for _, d := range plan.Devices {
		used[d.At] = true
		used[inventory.PortRef{Device: d.Name, Port: d.Port}] = true
	}
	var out []inventory.PortRef
	for _, d := range plan.Devices {
		for n := range d.Ports {
			if p := (inventory.PortRef{Device: d.Name, Port: strconv.Itoa(n + 1)}); !used[p] {
				out = append(out, p)
			}
		}
	}
	return out
}

// offer keeps what begins with the word and was not said before. Behind a tab
// stands what a shell may show beside it.
func offer(all, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
	all = slices.DeleteFunc(all, func(s string) bool {
		s, _, _ = strings.Cut(s, "\t")
		return !strings.HasPrefix(s, word) || slices.Contains(have, s)
	})
	return all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

// completeFlags says what may stand behind options. Other commands and options
// than these offer nothing, or files where they take one.
func (a *app) completeFlags(root *cobra.Command) {
	severities := []string{string(diff.Urgent), string(diff.Warning), string(diff.Note), "never"}
	for flag, f := range map[string]cobra.CompletionFunc{
		"fail-on": oneOf(severities...), "show ports switch": a.completeSwitches, "hush end": a.completeHushed, "hush why": nothing,
		"check add": a.completeCandidate, "accept name": nothing, "doctor mail": nothing,
		"sheet format": oneOf("text", "markdown", "csv", "html"), "sheet part": oneOf(sheet.Parts...),
		"draft site": nothing, "draft network": nothing, "draft access": nothing, "draft agent": nothing,
	} {
		words := strings.Fields(flag)
		c, _, err := root.Find(words[:len(words)-1])
		if err == nil {
			err = c.RegisterFlagCompletionFunc(words[len(words)-1], f)
		}
		if err != nil {
			panic(err) // the flags stand in these files
		}
	}
}

// noFiles lets commands that take no file offer none.
func noFiles(c *cobra.Command) {
	if c.ValidArgsFunction == nil && c.Name() != "backup" && c.Name() != "manual" {
		c.ValidArgsFunction = nothing
	}
	for _, sub := range c.Commands() {
		noFiles(sub)
	}
}

// writeJSON writes a value as the other commands do: two blanks deep.
func (a *app) writeJSON(v any) error {
	e := json.NewEncoder(a.stdout)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
