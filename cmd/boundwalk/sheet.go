package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"boundwalk/cmd/internal/sheet"
	"boundwalk/inventory"
	"boundwalk/store"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
)

// sheetFormats by the ending of a file's name.
var sheetFormats = map[string]string{".txt": "text", ".md": "markdown", ".csv": "csv", ".html": "html", ".htm": "html"}

func (a *app) sheetCommand() *cobra.Command {
	var format, out, part string
	var built bool
	c := &cobra.Command{
		Use:   "sheet",
		Short: "Writes the plan for people: cables, ports, addresses, what is spare; sends nothing",
		Long: "Writes the plan for the cabinet door and the owner: cable schedule, port sheets, address\n" +
			"list, spare ports and watts, models, what to do after a power cut, cautions. It is\n" +
			"confidential. With --built, the last run stands beside the plan.",
		Example: "  boundwalk sheet\n  boundwalk sheet --out sheet.html\n  boundwalk sheet --part cables --format csv",
		Args:    noWords,
		RunE:    func(c *cobra.Command, _ []string) error { return a.sheet(c.Context(), format, out, part, built) },
	}
	f := c.Flags()
	f.StringVar(&format, "format", "", "a `format`: text, markdown, csv or html (else by the file's name)")
	f.StringVar(&out, "out", "", "write to this `file`, anew each time")
	f.StringVar(&part, "part", "", "only one `part`: "+strings.Join(sheet.Parts, ", "))
	f.BoolVar(&built, "built", false, "set the last run beside the plan")
	return c
}

func (a *app) sheet(ctx context.Context, format, out, part string, built bool) error {
	if format == "" {
		format = sheetFormats[strings.ToLower(filepath.Ext(out))]
	}
	if format == "" && out == "" {
		format = "text"
	}
	switch {
	case !slices.Contains([]string{"text", "markdown", "csv", "html"}, format):
		return &exitError{exitUsage, &hintError{fmt.Errorf("%q is no format", format), "it is text, markdown, csv or html, by --format or by the name of --out"}}
	case part != "" && !slices.Contains(sheet.Parts, part):
		return &exitError{exitUsage, &hintError{fmt.Errorf("--part %q: there is no such part", part), "it is one of " + strings.Join(sheet.Parts, ", ")}}
	case format == "csv" && part == "":
		return &exitError{exitUsage, &hintError{errors.New("a CSV file holds one table"), "name it with --part: " + strings.Join(sheet.Parts, ", ")}}
	}
	f, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	snap, err := a.lastRun(ctx, path, built || part == "as-built")
	if err != nil {
		return err
	}
	s := sheet.New(f.Plan, snap, time.Now().In(f.Plan.Site.Location))
	if part != "" {
		s = s.Only(part)
	}
	if a.json {
		return a.writeJSON(s)
	}
	var b bytes.Buffer
	write := map[string]func(io.Writer) error{"text": s.Text, "markdown": s.Markdown, "csv": s.CSV, "html": s.HTML}[format]
	if err := write(&b); err != nil {
		return err
	}
	if out == "" {
		_, err := a.stdout.Write(b.Bytes())
		return err
	}
	return renameio.WriteFile(out, b.Bytes(), 0o600)
}

// lastRun is the logbook's last run, where it is wanted.
func (a *app) lastRun(ctx context.Context, planPath string, want bool) (*inventory.Snapshot, error) {
	if !want {
		return nil, nil
	}
	l, err := store.OpenReader(ctx, a.findLogbook(planPath))
	if err != nil {
		return nil, err
	}
	defer l.Close()
	snap, _, err := l.Snapshot(ctx)
	if err == nil && snap == nil {
		err = &hintError{errNoRun, `"boundwalk run" makes one`}
	}
	return snap, err
}
