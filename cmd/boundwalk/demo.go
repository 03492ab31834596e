package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/report"
	"boundwalk/discover"
	"boundwalk/discover/simnet/ternquay"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

func (a *app) demoCommand() *cobra.Command {
	var keep string
	c := &cobra.Command{
		Use:   "demo",
		Short: "Shows a run on an example site, simulated on this machine",
		Long: "Shows a run on the example site, the invented Tern Quay boatyard: agents on loopback\n" +
			"that answer real SNMP. It looks once at the site as planned, then changes it, and says\n" +
			"what differs. Nothing is sent to any network, and it ends with 0 whatever it finds.",
		Args: noWords,
		RunE: func(c *cobra.Command, _ []string) error { return a.demo(c, keep) },
	}
	c.Flags().StringVar(&keep, "keep", "", "leave plan, secrets and logbook in this `directory`, and the site running until Ctrl-C")
	return c
}

func (a *app) demo(c *cobra.Command, keep string) error {
	if a.planPath != "" || a.logbookPath != "" {
		return &exitError{exitUsage, errors.New("demo has a plan and a logbook of its own; --keep DIR leaves them in a directory")}
	}
	maker, err := a.makers()
	if err != nil {
		return err
	}
	dir, clean, err := demoDir(keep)
	if err != nil {
		return err
	}
	defer clean()
	site, err := ternquay.Start(c.Context())
	if err != nil {
		return err
	}
	defer site.Close() // it served what was asked of it; how a socket closes tells nothing
	d := &demo{app: a, site: site, dir: dir, maker: maker}
	if err := d.show(c.Context()); err != nil || keep == "" {
		return err
	}
	d.hints(c)
	<-c.Context().Done()
	return nil
}

// demoDir is where the demo keeps its files: for good in a directory that has no
// plan yet, else for as long as it takes.
func demoDir(keep string) (dir string, clean func(), err error) {
	if keep == "" {
		dir, err = os.MkdirTemp("", "boundwalk-demo-")
		return dir, func() { os.RemoveAll(dir) }, err
	}
	if err := os.MkdirAll(keep, 0o700); err != nil {
		return "", nil, err
	}
	old, err := os.ReadDir(keep)
	if err == nil && len(old) > 0 {
		err = &exitError{exitUsage, fmt.Errorf("--keep %s: the directory is not empty, and the demo overwrites nothing", keep)}
	}
	return keep, func() {}, err
}

// demo is the example site while it is looked at.
type demo struct {
	*app
	site  *ternquay.Site
	dir   string
	maker func(inventory.MAC) string
}

func (d *demo) planFile() string { return filepath.Join(d.dir, "plan.yaml") }

// show makes the three runs and tells the last.
func (d *demo) show(ctx context.Context) error {
	if err := ternquay.WriteSecrets(d.dir); err != nil {
		return err
	}
	if err := os.WriteFile(d.planFile(), d.site.PlanYAML(), 0o600); err != nil {
		return err
	}
	f, err := planfile.ReadFile(d.planFile())
	if err != nil {
		return err
	}
	book, err := store.Open(ctx, filepath.Join(d.dir, "logbook.db"))
	if err != nil {
		return err
	}
	defer book.Close()
	r := &pass.Runner{Plan: f.Plan, Logbook: book, Maker: d.maker, Asked: "person"}
	planned, err := d.run(ctx, r)
	if err != nil {
		return err
	}
	if err := d.site.Lose(); err != nil {
		return err
	}
	if _, err := d.run(ctx, r); err != nil {
		return err
	}
	if err := d.site.Drift(); err != nil {
		return err
	}
	res, err := d.run(ctx, r)
	if err != nil {
		return err
	}
	if d.json {
		d.story(d.stderr, planned)
		return report.RunJSON(d.stdout, res)
	}
	d.story(d.stdout, planned)
	return report.RunText(d.stdout, res, d.style())
}

func (d *demo) run(ctx context.Context, r *pass.Runner) (*pass.Result, error) {
	bar := d.progress()
	defer bar.end()
	r.Survey = discover.Options{Asked: true, Secrets: secrets(d.planFile()), Progress: bar.part}
	return r.Run(ctx)
}

// story says what the report is about: what was simulated, and what was done to it.
func (d *demo) story(w io.Writer, planned *pass.Result) {
	fmt.Fprintf(w, "Tern Quay is an invented boatyard, simulated on this machine: %d agents answer\n", len(planned.Snapshot.Agents))
	fmt.Fprintf(w, "SNMP on 127.0.0.1, and nothing is sent anywhere else. Three runs were made.\n\n")
	fmt.Fprintf(w, "Run 1 saw the site as planned")
	for i, f := range planned.Findings {
		fmt.Fprintf(w, "%s%s", map[bool]string{true: ", with ", false: ", "}[i == 0], f.Key)
	}
	fmt.Fprintf(w, ".\nThen, before run 2:\n")
	lost := true
	for _, c := range ternquay.Changes() {
		if lost && !c.Lost {
			fmt.Fprintf(w, "And before run 3, since a device is called missing only when two runs miss it:\n")
			lost = false
		}
		fmt.Fprintf(w, "  - %s\n", c.What)
	}
	fmt.Fprintf(w, "\nThis is what run 3 says.\n\n")
}

// hints names commands to try while the site goes on.
func (d *demo) hints(c *cobra.Command) {
	plan := d.planFile()
	if strings.ContainsAny(plan, " \t'\"") {
		plan = strconv.Quote(plan)
	}
	fmt.Fprintf(d.stderr, "boundwalk: the site goes on until Ctrl-C; in another terminal, try\n")
	for _, words := range []string{"run", "show ports", "show supplies", "show tree", "show device shed-ap", "check", "sheet",
		"accept moved-device/gate-cam --dry-run", "commission gate-cam", `hush clock-off/recorder 2w --why "part ordered"`, "digest", "doctor"} {
		name, _, _ := strings.Cut(words, " ")
		if found, _, err := c.Root().Find([]string{name}); err == nil && found.Name() == name {
			fmt.Fprintf(d.stderr, "  boundwalk %s --plan %s\n", words, plan)
		}
	}
}
