package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"

	"github.com/spf13/cobra"
)

func (a *app) checkCommand() *cobra.Command {
	var add string
	c := &cobra.Command{
		Use:   "check",
		Short: "Reckons the plan through on paper; sends nothing",
		Long: "Reads the plan and reckons it through: power at each device after its cable, budgets,\n" +
			"radio links, recording time. With --add it answers whether one more device fits.",
		Example: "  boundwalk check\n  boundwalk check --add camera,class3,quay-switch/7,45m\n  boundwalk check --add access-point,18W,shed-switch/7,30m",
		Args:    noWords,
		RunE: func(*cobra.Command, []string) error {
			f, _, err := a.loadPlan()
			if err != nil {
				return err
			}
			if add != "" {
				return a.checkFit(f.Plan, add)
			}
			fs := diff.Paper(f.Plan)
			if a.json {
				err = report.PaperJSON(a.stdout, f.Plan.Site.Name, fs)
			} else {
				err = report.Paper(a.stdout, f.Plan.Site.Name, diff.PaperLines(f.Plan), fs, a.style())
			}
			if err == nil && a.fails(fs, nil) {
				return &exitError{Code: exitFindings}
			}
			return err
		},
	}
	c.Flags().StringVar(&add, "add", "", "would this one `device` more fit? ROLE,CLASS or WATTS,SWITCH/PORT,LENGTH")
	return c
}

func (a *app) checkFit(plan *inventory.Plan, text string) error {
	c, err := parseCandidate(plan, text)
	if err != nil {
		return &exitError{exitUsage, fmt.Errorf("--add %q: %w", text, err)}
	}
	answer := diff.Fit(plan, c)
	if a.json {
		err = report.FitJSON(a.stdout, c, answer)
	} else {
		err = report.Fit(a.stdout, c, answer, a.style())
	}
	if err == nil && !(answer.Fits && answer.Known) {
		return &exitError{Code: exitFindings}
	}
	return err
}

// parseCandidate reads camera,class3,quay-switch/7,45m; the length may be left out.
func parseCandidate(plan *inventory.Plan, text string) (diff.Candidate, error) {
	var c diff.Candidate
	parts := strings.Split(text, ",")
	if len(parts) < 3 || len(parts) > 4 {
		return c, fmt.Errorf("write it as camera,class3,quay-switch/7,45m or access-point,18W,quay-switch/7,45m")
	}
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	c.Role = inventory.Role(parts[0])
	if !slices.Contains(inventory.Roles, c.Role) {
		return c, fmt.Errorf("%q is no role", parts[0])
	}
	if err := parseDraw(&c, parts[1]); err != nil {
		return c, err
	}
	c.At = inventory.ParsePortRef(parts[2])
	sw, ok := plan.Device(c.At.Device)
	if !ok || c.At.Port == "" {
		return c, fmt.Errorf("%q names no port of a planned device, such as quay-switch/7", parts[2])
	}
	if n, err := strconv.Atoi(c.At.Port); err == nil && sw.Ports > 0 && (n < 1 || n > sw.Ports) {
		return c, fmt.Errorf("%s has no port %s (it has 1 to %d)", sw.Name, c.At.Port, sw.Ports)
	}
	if len(parts) == 4 {
		m, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(parts[3], "m")), 64)
		if err != nil || m <= 0 || m > 1000 {
			return c, fmt.Errorf("%q is no length in metres, such as 45m", parts[3])
		}
		c.Length = m
	}
	return c, nil
}

func parseDraw(c *diff.Candidate, text string) error {
	lower := strings.ToLower(strings.ReplaceAll(text, " ", ""))
	if n, ok := strings.CutPrefix(lower, "class"); ok {
		k, err := strconv.ParseInt(n, 10, 8)
		if err != nil {
			return fmt.Errorf("%q is no class, such as class3", text)
		}
		c.Class, err = poe.ClassOf(k)
		return err
	}
	w, err := strconv.ParseFloat(strings.TrimSuffix(lower, "w"), 64)
	if err != nil || !strings.HasSuffix(lower, "w") || w <= 0 || w > 100 {
		return fmt.Errorf("%q is neither a class, such as class3, nor watts, such as 18W", text)
	}
	c.Watts = poe.FromWatts(w)
	return nil
}
