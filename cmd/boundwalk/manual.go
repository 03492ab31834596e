package main

import (
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manualCommand writes the manual pages for the packages: hidden, since a
// person reads them with man.
func (a *app) manualCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "manual DIR",
		Short:  "Writes the manual pages",
		Hidden: true,
		Args:   words(1, 1, "DIR"),
		RunE: func(c *cobra.Command, args []string) error {
			date := time.Now()
			if s, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64); err == nil {
				date = time.Unix(s, 0).UTC() // the same source gives the same pages
			}
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			c.Root().DisableAutoGenTag = true
			// Without a title each page has its command's.
			return doc.GenManTree(c.Root(), &doc.GenManHeader{Section: "1", Source: "boundwalk", Manual: "boundwalk manual", Date: &date}, args[0])
		},
	}
}
