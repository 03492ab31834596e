package main

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

// What a shell offers when it completes a word comes from the plan and the
// logbook. Where they cannot be read there is nothing to offer, and no error to show.

func (a *app) completeKeys(c *cobra.Command, have []string, word string) ([]string, cobra.ShellCompDirective) {
	path, err := a.findPlan()
	if err != nil && a.logbookPath == "" {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	l, err := store.OpenReader(c.Context(), a.findLogbook(path))
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	defer l.Close()
	eps, err := l.Episodes(c.Context(), time.Time{})
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var keys []string
	for _, e := range eps {
		keys = append(keys, e.Finding.Key)
	}
	return offer(keys, have, word)
}

func (a *app) completeDevices(_ *cobra.Command, have []string, word string) ([]string, cobra.ShellCompDirective) {
	return a.completeFromPlan(have, word, func(string) bool { return true })
}

func (a *app) completeFromPlan(have []string, word string, role func(string) bool) ([]string, cobra.ShellCompDirective) {
	path, err := a.findPlan()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	f, err := planfile.ReadFile(path)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var names []string
	for _, d := range f.Plan.Devices {
		if role(string(d.Role)) {
			names = append(names, d.Name)
		}
	}
	return offer(names, have, word)
}

func offer(all, have []string, word string) ([]string, cobra.ShellCompDirective) {
	all = slices.DeleteFunc(all, func(s string) bool { return !strings.HasPrefix(s, word) || slices.Contains(have, s) })
	slices.Sort(all)
	return all, cobra.ShellCompDirectiveNoFileComp
}

// writeJSON writes a value as the other commands do: two blanks deep.
func (a *app) writeJSON(v any) error {
	e := json.NewEncoder(a.stdout)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
