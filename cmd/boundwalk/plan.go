package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"boundwalk/inventory"
	"boundwalk/inventory/oui"
	"boundwalk/inventory/planfile"
	"boundwalk/store"
)

const (
	systemPlan    = "/etc/boundwalk/plan.yaml"
	systemLogbook = "/var/lib/boundwalk/logbook.db"
)

// findPlan is the plan's path by the contract's order.
func (a *app) findPlan() (string, error) {
	if a.planPath != "" {
		return a.planPath, nil
	}
	if p := os.Getenv("BOUNDWALK_PLAN"); p != "" {
		return p, nil
	}
	for _, p := range []string{"plan.yaml", systemPlan} {
		if _, err := os.Stat(p); err == nil {
			return p, nil
		}
	}
	return "", &exitError{exitUsage, &hintError{errors.New("no plan: neither --plan, BOUNDWALK_PLAN, ./plan.yaml nor " + systemPlan),
		`"boundwalk draft" writes a first one from what is there; "boundwalk demo" shows what it is for`}}
}

// loadPlan reads the plan; its problems end the program with the code for a bad plan.
func (a *app) loadPlan() (*planfile.File, string, error) {
	path, err := a.findPlan()
	if err != nil {
		return nil, "", err
	}
	f, err := planfile.ReadFile(path)
	if err != nil {
		return nil, path, &exitError{exitUsage, err}
	}
	return f, path, nil
}

// findLogbook is the logbook's path: beside the plan unless the system has one.
func (a *app) findLogbook(planPath string) string {
	if a.logbookPath != "" {
		return a.logbookPath
	}
	if p := os.Getenv("BOUNDWALK_LOGBOOK"); p != "" {
		return p
	}
	if planPath == "" || filepath.Clean(planPath) == systemPlan {
		return systemLogbook
	}
	return filepath.Join(filepath.Dir(planPath), "logbook.db")
}

// openReader opens the logbook for the commands that only look into it. A plan is
// of use there, but not needed.
func (a *app) openReader(ctx context.Context) (*store.Logbook, *inventory.Plan, error) {
	plan := &inventory.Plan{}
	f, path, err := a.loadPlan()
	switch {
	case err == nil:
		plan = f.Plan
	case a.logbookPath == "" && os.Getenv("BOUNDWALK_LOGBOOK") == "" && path == "":
		if _, e := os.Stat(systemLogbook); errors.Is(e, fs.ErrNotExist) {
			return nil, nil, err
		}
	case path != "":
		fmt.Fprintf(a.stderr, "boundwalk: the plan has problems (%q lists them); showing the logbook without it\n", "boundwalk check")
	}
	l, err := store.OpenReader(ctx, a.findLogbook(path))
	return l, plan, err
}

// secrets resolves the plan's references beside the plan's file.
func secrets(planPath string) func(inventory.SecretRef) (string, error) {
	dir := filepath.Dir(planPath)
	return func(r inventory.SecretRef) (string, error) {
		s, err := planfile.Resolve(r, dir)
		return string(s), err
	}
}

// makers tells makers by the registry that is built in, or the file that
// --registry names.
func (a *app) makers() (func(inventory.MAC) string, error) {
	if a.registry == "" {
		return func(m inventory.MAC) string { return oui.Maker(m) }, nil
	}
	f, err := os.Open(a.registry)
	if err != nil {
		return nil, fmt.Errorf("registry: %w", err)
	}
	defer f.Close()
	r, err := oui.Load(f)
	if err != nil {
		return nil, &hintError{fmt.Errorf("%s: %w", a.registry, err),
			"the IEEE's oui.csv is such a file, as are mam.csv and oui36.csv; several may stand one after another in one"}
	}
	return func(m inventory.MAC) string { return r.Maker(m) }, nil
}
