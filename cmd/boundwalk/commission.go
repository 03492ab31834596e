package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"boundwalk/cmd/internal/accept"
	"boundwalk/cmd/internal/commission"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
)

type commissionFlags struct {
	wait, every, settle time.Duration
	out                 string
	write, last         bool
}

func (a *app) commissionCommand() *cobra.Command {
	var f commissionFlags
	c := &cobra.Command{
		Use:   "commission [NAME]",
		Short: "Waits for a device that was just added, and proves it",
		Long: "Looks at how the site stands, then waits for the named device, or whatever is plugged in\n" +
			"next, and proves it step by step: port, link, power, VLAN, address, what it is, whether it\n" +
			"still takes its factory account, what its links, its recorder and its supply carry with it.\n" +
			"It ends with 0, or with 3 where a step failed or nothing came. A device that is there\n" +
			"already is proved at once. The last look is a run of the logbook and the record is kept\n" +
			"with it; --last shows it again.",
		Example:           "  boundwalk commission slip-cam --out slip-cam.html\n  boundwalk commission --write\n  boundwalk commission slip-cam --last",
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeDevices,
		RunE: func(c *cobra.Command, args []string) error {
			return a.commission(c.Context(), strings.Join(args, ""), f)
		},
	}
	fl := c.Flags()
	fl.DurationVar(&f.wait, "wait", 5*time.Minute, "how long to wait for it")
	fl.DurationVar(&f.every, "every", 3*time.Second, "between two light reads")
	fl.DurationVar(&f.settle, "settle", 45*time.Second, "how long it may take to show power and address")
	fl.StringVar(&f.out, "out", "", "write the record to this `file` too: .html, .json or .txt")
	fl.BoolVar(&f.write, "write", false, "take a new device, or a planned one's MAC address, into the plan")
	fl.BoolVar(&f.last, "last", false, "look at nothing: show the record of NAME that the logbook keeps")
	return c
}

func (a *app) commission(ctx context.Context, name string, f commissionFlags) error {
	pf, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	kind := strings.ToLower(filepath.Ext(f.out))
	if f.out != "" && !slices.Contains([]string{".html", ".json", ".txt"}, kind) {
		return &exitError{exitUsage, fmt.Errorf("--out %s: the name ends in .html, .json or .txt", f.out)}
	}
	if f.last {
		return a.lastRecord(ctx, pf, path, name, f.out)
	}
	if _, ok := pf.Plan.Device(name); name != "" && !ok {
		return &exitError{exitUsage, &hintError{fmt.Errorf("the plan has no device %q", name),
			`without a name, whatever comes next is proved: "boundwalk commission"`}}
	}
	look, done, err := a.commissionLooks(ctx, pf.Plan, path)
	if err != nil {
		return err
	}
	defer done()
	w, err := commission.Watch(ctx, pf.Plan, commission.Options{Name: name, Wait: f.wait, Every: f.every, Settle: f.settle,
		Peek: look.peek, Look: look.look, Tell: look.tell})
	if err != nil {
		return err
	}
	records, wrote, err := a.prove(ctx, pf, look, w, name, f.write)
	if err != nil {
		return err
	}
	if err := errors.Join(a.tellRecords(pf, records, f.out), wrote); err != nil {
		return err
	}
	if slices.ContainsFunc(records, commission.Record.Failed) {
		return &exitError{Code: exitFindings}
	}
	return nil
}

// prove takes what came into the plan, where that is asked for, then looks once
// more, whole and for the logbook, and judges what it sees. The second error is that
// of the plan's edit: the records are there all the same.
func (a *app) prove(ctx context.Context, pf *planfile.File, look *looks, w commission.Watched, name string,
	write bool) (records []commission.Record, wrote, err error) {
	if len(w.Arrived)+len(w.Ports) == 0 {
		return look.named(commission.Nothing(pf.Plan, w, time.Now())), nil, nil
	}
	if len(w.Arrived) > 1 {
		look.tell(fmt.Sprintf("%d devices came at once: %s; to prove one alone, name it: \"boundwalk commission NAME\"", len(w.Arrived),
			strings.Join(whereabouts(w), ", ")))
	}
	news := newcomers(pf.Plan, w, name)
	plan := pf.Plan
	if write {
		if wrote = a.writeCommission(pf, look.path, news); wrote == nil && len(news) > 0 {
			after, err := planfile.ReadFile(look.path)
			if err != nil {
				return nil, nil, err
			}
			plan = after.Plan
		}
	}
	look.tell("one whole look, for the record and the logbook")
	records, err = look.last(ctx, plan, w, news, name)
	return records, wrote, err
}

// whereabouts says what came, and where each hangs.
func whereabouts(w commission.Watched) []string {
	var out []string
	for _, n := range w.Arrived {
		if s, ok := w.After.Device(n); ok && !s.Place.IsZero() {
			n += " at " + s.Place.Ref().String()
		}
		out = append(out, n)
	}
	return out
}

// newcomer is what the plan does not know yet of a device that came.
type newcomer struct {
	seen    string           // its name in the snapshot
	entry   inventory.Device // of an unknown device; of a planned one, only its name
	text    string           // the entry as a plan would have it; empty: it is planned
	check   string           // what is left to see to by hand
	changes []planfile.Change
}

// newcomers finds the changes by which the plan would know what came. Two new
// devices get two names.
func newcomers(plan *inventory.Plan, w commission.Watched, name string) []newcomer {
	known := *plan
	known.Devices = slices.Clone(plan.Devices)
	var out []newcomer
	for _, seen := range w.Arrived {
		s, ok := w.After.Device(seen)
		if !ok || len(s.MACs) == 0 {
			continue
		}
		as := seen
		if name != "" {
			as = name
		}
		d, planned := plan.Device(as)
		switch {
		case planned && len(d.MACs) == 0:
			n := newcomer{seen: seen, entry: inventory.Device{Name: d.Name}, changes: []planfile.Change{planfile.Set(d.Name, "mac", s.MACs[0].String())}}
			for _, m := range s.MACs[1:] {
				n.changes = append(n.changes, planfile.Append(d.Name, "mac", m.String()))
			}
			out = append(out, n)
		case !planned:
			taken, err := accept.Take(&known, w.After, diff.Finding{Kind: diff.UnknownDevice, Subject: seen, MACs: s.MACs}, "")
			if err != nil {
				continue // the snapshot has it: only a device of the plan would not be taken
			}
			n := newcomer{seen: seen, check: taken.Note, changes: append(taken.Changes, accept.Unspare([]accept.Taken{taken})...)}
			n.entry, _ = accept.Entry(&known, w.After, s, "")
			n.text = entryText(plan, n.entry)
			known.Devices = append(known.Devices, n.entry)
			known.Index()
			out = append(out, n)
		}
	}
	return out
}

// entryText is a device as a plan would have it.
func entryText(plan *inventory.Plan, d inventory.Device) string {
	p := planfile.Defaults()
	p.Site.Name, p.Networks = "x", plan.Networks
	at := d.At
	d.At = inventory.PortRef{Device: at.Device}
	if at.Device != "" {
		p.Devices = append(p.Devices, inventory.Device{Name: at.Device})
	}
	d.At = at
	p.Devices = append(p.Devices, d)
	text, err := planfile.Render(p)
	if err != nil {
		return ""
	}
	_, after, _ := strings.Cut(string(text), "\n  "+d.Name+":")
	var b strings.Builder
	fmt.Fprintf(&b, "  %s:", d.Name)
	for i, line := range strings.SplitAfter(after, "\n") {
		if i > 0 && !strings.HasPrefix(line, "    ") {
			break
		}
		b.WriteString(line)
	}
	return b.String()
}

// tellRecords writes the records to standard output, and to the file that is asked for.
func (a *app) tellRecords(pf *planfile.File, records []commission.Record, out string) error {
	loc := pf.Plan.Site.Location
	if out != "" {
		var b bytes.Buffer
		plain := a.style()
		plain.Color = false
		err := map[string]func() error{
			".html": func() error { return commission.HTML(&b, records, loc) },
			".txt":  func() error { return commission.Text(&b, records, loc, plain) },
			".json": func() error { return (&app{stdout: &b}).writeJSON(records) },
		}[strings.ToLower(filepath.Ext(out))]()
		if err != nil {
			return err
		}
		if err := renameio.WriteFile(out, b.Bytes(), 0o600); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
	}
	if a.json {
		return a.writeJSON(records)
	}
	return commission.Text(a.stdout, records, loc, a.style())
}

// recordFact is the name under which the logbook keeps a device's record.
func recordFact(device string) string { return "commissioned " + device }

// lastRecord shows the record that the logbook keeps.
func (a *app) lastRecord(ctx context.Context, pf *planfile.File, path, name, out string) error {
	if name == "" {
		return &exitError{exitUsage, errors.New("--last wants the device's NAME")}
	}
	book, err := store.OpenReader(ctx, a.findLogbook(path))
	if err != nil {
		return err
	}
	defer book.Close()
	text, err := book.Fact(ctx, recordFact(name))
	if err != nil {
		return err
	}
	if text == "" {
		return &hintError{fmt.Errorf("the logbook keeps no record of %q", name), fmt.Sprintf("\"boundwalk commission %s\" makes one", name)}
	}
	var r commission.Record
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		return fmt.Errorf("the record of %s: %w", name, err)
	}
	return a.tellRecords(pf, []commission.Record{r}, out)
}

// writeCommission takes what came into the plan. Of two new devices it takes
// none: one of them may be a stranger.
func (a *app) writeCommission(pf *planfile.File, path string, news []newcomer) error {
	var changes []planfile.Change
	var unknown []string
	for _, n := range news {
		changes = append(changes, n.changes...)
		if n.text != "" {
			unknown = append(unknown, n.seen)
		}
	}
	switch {
	case len(unknown) > 1:
		return &hintError{fmt.Errorf("%d new devices came at once (%s): %s stays as it is", len(unknown), strings.Join(unknown, ", "), path),
			`unplug all but one and commission that; or "boundwalk accept unknown-device/MAC" takes each in by itself`}
	case len(changes) == 0:
		fmt.Fprintf(a.stderr, "boundwalk: %s knows it all already; nothing was written\n", path)
		return nil
	}
	text, err := pf.Edit(changes...)
	if err != nil {
		return fmt.Errorf("%s stays as it is: %w", path, err)
	}
	if err := writePlan(path, pf, text); err != nil {
		return err
	}
	for _, c := range changes {
		fmt.Fprintf(a.stderr, "boundwalk: %s: %s\n", path, c)
	}
	return nil
}
