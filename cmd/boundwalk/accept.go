package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"boundwalk/cmd/internal/accept"
	"boundwalk/diff"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

func (a *app) acceptCommand() *cobra.Command {
	var name string
	var dry bool
	c := &cobra.Command{
		Use:   "accept KEY...",
		Short: "Takes what findings tell into the plan; sends nothing",
		Long: "Takes what findings tell into the plan: a moved device belongs where it is now, a new\n" +
			"MAC address is the old name's, an unknown device gets a name. All of the keys are\n" +
			"taken, or none. A port that is put to use goes off the spare ones. The rest of the file\n" +
			"stays byte for byte; the old one is kept as plan.yaml~. The next run then has nothing\n" +
			"more to say of it. The key lock/DEVICE, alone, changes no plan: it says that the lock\n" +
			"which a login check met there is dealt with.",
		Example:           "  boundwalk accept moved-device/gate-cam replaced-device/hoist-cam --dry-run\n  boundwalk accept unknown-device/00:00:5e:00:53:66 --name bow-cam",
		Args:              words(1, anyNumber, "KEY"),
		ValidArgsFunction: a.completeKeys(accept.Kinds...),
		RunE:              func(c *cobra.Command, args []string) error { return a.accept(c.Context(), args, name, dry) },
	}
	c.Flags().StringVar(&name, "name", "", "the `name` for an unknown device")
	c.Flags().BoolVar(&dry, "dry-run", false, "show what would change, and change nothing")
	return c
}

func (a *app) accept(ctx context.Context, keys []string, name string, dry bool) error {
	f, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	if device, ok := lockKey(keys[0]); ok && len(keys) == 1 {
		return a.acceptLock(ctx, f.Plan, path, device, dry)
	}
	taken, err := a.take(ctx, f, path, slices.Compact(slices.Sorted(slices.Values(keys))), name)
	if err != nil {
		return err
	}
	text, err := editPlan(f, taken)
	if err != nil {
		return fmt.Errorf("%s stays as it is: %w", path, err)
	}
	same := bytes.Equal(text, f.Text())
	switch {
	case same:
	case dry:
		d, err := f.Diff(text)
		if err != nil {
			return err
		}
		fmt.Fprint(a.stdout, d)
	default:
		if err := writePlan(path, f, text); err != nil {
			return err
		}
	}
	for _, t := range taken {
		switch {
		case same:
			fmt.Fprintf(a.stdout, "%s: %s already; the next run does not find it any more\n", path, t.What)
		case !dry:
			fmt.Fprintf(a.stdout, "%s: %s\n", path, t.What)
		}
		if t.Note != "" {
			fmt.Fprintf(a.stderr, "boundwalk: %s: %s\n", t.Key, t.Note)
		}
	}
	return nil
}

// editPlan makes the text of the plan with all that was taken. A port that is put
// to use goes off the spare ones; where the file writes those so that they cannot
// be edited in place, what was taken says that it is left to do.
func editPlan(f *planfile.File, taken []accept.Taken) ([]byte, error) {
	var changes []planfile.Change
	for _, t := range taken {
		changes = append(changes, t.Changes...)
	}
	if text, err := f.Edit(append(slices.Clone(changes), accept.Unspare(taken)...)...); err == nil {
		return text, nil
	}
	text, err := f.Edit(changes...)
	if err != nil {
		return nil, err
	}
	for i, t := range taken {
		if t.Spare.Port != "" {
			taken[i].Note = strings.TrimPrefix(t.Note+fmt.Sprintf("; port %s of %s stands under spare: take it out there", t.Spare.Port, t.Spare.Device), "; ")
		}
	}
	return text, nil
}

// writePlan puts an edited plan in the old one's place.
func writePlan(path string, f *planfile.File, text []byte) error {
	err := planfile.Write(path, f.Text(), text)
	switch {
	case errors.Is(err, planfile.ErrReadOnly):
		return &hintError{err, "make it writable for you, or use --dry-run and change the plan by hand"}
	case errors.Is(err, planfile.ErrChanged):
		return &hintError{err, "nothing was written; run the same command again"}
	}
	return err
}

// take finds the changes of each key; where one has none, nothing is taken.
func (a *app) take(ctx context.Context, f *planfile.File, path string, keys []string, name string) ([]accept.Taken, error) {
	l, err := store.OpenReader(ctx, a.findLogbook(path))
	if err != nil {
		return nil, err
	}
	defer l.Close()
	snap, _, err := l.Snapshot(ctx)
	if err != nil {
		return nil, err
	}
	if snap == nil {
		return nil, &hintError{errNoRun, `"boundwalk run" makes one`}
	}
	var findings []diff.Finding
	var lost []error
	named := 0
	for _, k := range keys {
		finding, err := l.OpenFinding(ctx, k)
		if err != nil {
			lost = append(lost, err)
			continue
		}
		if finding.Kind == diff.UnknownDevice || finding.Kind == diff.NoAddress {
			named++
		}
		findings = append(findings, finding)
	}
	taken, err := accept.All(f.Plan, snap, findings, name)
	switch err = errors.Join(append(lost, err)...); {
	case len(lost) > 0:
		return nil, &hintError{fmt.Errorf("nothing was changed:\n%w", err), `"boundwalk show findings --all" lists the keys`}
	case err != nil:
		return nil, fmt.Errorf("nothing was changed:\n%w", err)
	}
	if name != "" && named != 1 {
		return nil, &exitError{exitUsage, errors.New("--name is for one unknown device at a time")}
	}
	return taken, nil
}
