package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"boundwalk/cmd/internal/report"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

// longestHush: what is quiet for longer belongs into the plan, under severity.
const longestHush = 366 * 24 * time.Hour

func (a *app) hushCommand() *cobra.Command {
	var all, list bool
	var end, why string
	c := &cobra.Command{
		Use:   "hush KEY SPAN | --all SPAN | --list | --end KEY",
		Short: "Quiets a finding, or everything while work goes on, until a time",
		Long: "Quiets a finding, or everything while work goes on, until a time. What is quiet is\n" +
			"still looked for and kept; it is not told. A SPAN is such as 2h, 90 min, 3 days, 2w.",
		Example: "  boundwalk hush missing-device/gate-cam 2w --why \"roof work\"\n  boundwalk hush --all 2h\n  boundwalk hush --end missing-device/gate-cam",
		Args:    words(0, 2, ""),
		ValidArgsFunction: func(c *cobra.Command, have []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
			spans := oneOf("2h", "1d", "1w", "2w")
			switch {
			case all:
				return inTurn(spans)(c, have, word)
			case list || end != "":
				return nothing(c, have, word)
			}
			return inTurn(a.completeKeys(), spans)(c, have, word)
		},
		RunE: func(c *cobra.Command, args []string) error {
			want := map[bool]int{true: 0, false: 2}[list || end != ""]
			if all && end == "" && !list {
				want = 1
			}
			if len(args) != want || list && end != "" {
				return &exitError{exitUsage, &hintError{errors.New("hush wants a key and a span, --all and a span, --list, or --end and a key"),
					`"boundwalk hush --help" says how it is used`}}
			}
			switch {
			case list:
				return a.hushes(c.Context())
			case end != "":
				return a.endHush(c.Context(), end)
			case all:
				return a.hush(c.Context(), store.HushAll, args[0], why)
			}
			return a.hush(c.Context(), args[0], args[1], why)
		},
	}
	c.Flags().BoolVar(&all, "all", false, "quiet everything")
	c.Flags().BoolVar(&list, "list", false, "say what is quiet")
	c.Flags().StringVar(&end, "end", "", "let this `key` be told again; \"all\" ends --all")
	c.Flags().StringVar(&why, "why", "", "the `reason`, for whoever reads it later")
	return c
}

// hushBook opens the logbook to write; a hush needs one that is there.
func (a *app) hushBook(ctx context.Context) (*store.Logbook, *time.Location, error) {
	f, path, err := a.loadPlan()
	if err != nil && a.logbookPath == "" {
		return nil, nil, err
	}
	loc := time.Local
	if err == nil {
		loc = f.Plan.Site.Location
	}
	book := a.findLogbook(path)
	l, err := store.OpenReader(ctx, book) // so that a wrong path makes no new file
	if err != nil {
		return nil, nil, err
	}
	l.Close()
	l, err = store.Open(ctx, book)
	return l, loc, err
}

func (a *app) hush(ctx context.Context, key, text, why string) error {
	span, err := planfile.ParseDuration(text)
	if err == nil && (span <= 0 || span > longestHush) {
		err = fmt.Errorf("%q: a hush lasts up to a year; for longer, the plan can set the kind's severity", text)
	}
	if err != nil {
		return &exitError{exitUsage, err}
	}
	l, loc, err := a.hushBook(ctx)
	if err != nil {
		return err
	}
	defer l.Close()
	what := "everything"
	if key != store.HushAll {
		what = key
		if _, err := l.OpenFinding(ctx, key); err != nil {
			return &hintError{err, `"boundwalk show findings --all" lists the keys`}
		}
	}
	now := time.Now()
	h := store.Hush{Key: key, Since: now, Until: now.Add(span), Why: why}
	if err := l.Hush(ctx, h); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "%s is quiet until %s\n", what, report.Clock(h.Until, loc))
	return nil
}

func (a *app) endHush(ctx context.Context, key string) error {
	if key == "all" {
		key = store.HushAll
	}
	l, _, err := a.hushBook(ctx)
	if err != nil {
		return err
	}
	defer l.Close()
	now := time.Now()
	list, err := l.Hushes(ctx, now)
	if err != nil {
		return err
	}
	for _, h := range list {
		if h.Key != key {
			continue
		}
		h.Until = now.Add(-time.Second) // the logbook counts whole seconds
		if err := l.Hush(ctx, h); err != nil {
			return err
		}
		fmt.Fprintf(a.stdout, "%s is told again\n", hushWords(key))
		return nil
	}
	return &hintError{fmt.Errorf("%s is not hushed", hushWords(key)), `"boundwalk hush --list" says what is`}
}

func hushWords(key string) string {
	if key == store.HushAll {
		return "everything"
	}
	return key
}

func (a *app) hushes(ctx context.Context) error {
	l, plan, err := a.openReader(ctx)
	if err != nil {
		return err
	}
	defer l.Close()
	list, err := l.Hushes(ctx, time.Now())
	if err != nil {
		return err
	}
	if a.json {
		return a.hushesJSON(list)
	}
	if len(list) == 0 {
		fmt.Fprintln(a.stdout, "nothing is quiet")
	}
	for _, h := range list {
		fmt.Fprintf(a.stdout, "%s until %s", hushWords(h.Key), report.Clock(h.Until, plan.Site.Location))
		if h.Why != "" {
			fmt.Fprintf(a.stdout, ": %s", h.Why)
		}
		fmt.Fprintln(a.stdout)
	}
	return nil
}

func (a *app) hushesJSON(list []store.Hush) error {
	type row struct {
		Key   string    `json:"key"` // * for everything
		Since time.Time `json:"since"`
		Until time.Time `json:"until"`
		Why   *string   `json:"why"`
	}
	out := make([]row, len(list))
	for i, h := range list {
		out[i] = row{Key: h.Key, Since: h.Since, Until: h.Until}
		if h.Why != "" {
			out[i].Why = &h.Why
		}
	}
	return a.writeJSON(out)
}
