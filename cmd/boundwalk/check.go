package main

import (
	"boundwalk/cmd/internal/report"
	"boundwalk/diff"

	"github.com/spf13/cobra"
)

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "Checks the plan on paper; sends nothing",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			f, _, err := a.loadPlan()
			if err != nil {
				return err
			}
			fs := diff.Paper(f.Plan)
			if a.json {
				err = report.PaperJSON(a.stdout, f.Plan.Site.Name, fs)
			} else {
				err = report.Findings(a.stdout, fs, f.Plan.Site.Location, a.style())
			}
			if err == nil && a.fails(fs, nil) {
				return &exitError{Code: exitFindings}
			}
			return err
		},
	}
}
