package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"boundwalk/inventory/planfile"

	"github.com/cpuguy83/go-md2man/v2/md2man"
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
			if err := doc.GenManTree(c.Root(), &doc.GenManHeader{Section: "1", Source: "boundwalk", Manual: "boundwalk manual", Date: &date}, args[0]); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(args[0], "boundwalk-plan.5"), planManual(date), 0o644)
		},
	}
}

// planManual is the manual page of the plan file, with every key.
func planManual(date time.Time) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "%% \"BOUNDWALK-PLAN\" \"5\" \"%s\" \"boundwalk\" \"boundwalk manual\"\n", date.Format("Jan 2006"))
	b.WriteString("# NAME\nboundwalk-plan - the plan of a site\n# DESCRIPTION\n" + markdown(strings.ReplaceAll(planIntro, "\n", " ")) + "\n")
	for _, s := range planfile.Reference() {
		fmt.Fprintf(&b, "\n# %s\n%s\n", markdown(s.Title()), markdown(s.Doc))
		for _, e := range s.Keys {
			fmt.Fprintf(&b, "\n**%s**\n: %s\n", markdown(e.Key), markdown(e.Text()))
		}
	}
	b.WriteString("\n# SEE ALSO\n**boundwalk(1)**, **boundwalk-check(1)**, **boundwalk-draft(1)**\n")
	return md2man.Render([]byte(b.String()))
}

// markdown takes the meaning from what would be markup.
func markdown(s string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "<", `\<`, "{", `\{`, "}", `\}`).Replace(s)
}
