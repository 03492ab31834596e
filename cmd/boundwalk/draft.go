package main

import (
	"context"
	"errors"
	"fmt"

	"io/fs"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"boundwalk/cmd/internal/draft"
	"boundwalk/cmd/internal/pass"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

// draftFlags are the words of a draft, as typed.
type draftFlags struct {
	site, out                string
	networks, access, agents []string
}

func (a *app) draftCommand() *cobra.Command {
	var f draftFlags
	c := &cobra.Command{
		Use:   "draft",
		Short: "Looks at what is there and writes a first plan of it",
		Long: "Looks at this machine's networks by ARP, and at the SNMP agents that --agent names,\n" +
			"and writes a first plan. What it is not sure of has a comment \"# check:\". It tries no\n" +
			"community of its own, asks no questions, and overwrites no file. Names and draws come\n" +
			"from the logbook where --logbook names one.",
		Example: "  boundwalk draft --out plan.yaml\n" +
			"  boundwalk draft --access yard=v2c:file:yard.community --agent 203.0.113.2 --agent 203.0.113.3 --out plan.yaml\n" +
			"  boundwalk draft --access core=v3:audit:sha256:file:core.auth:aes:file:core.priv --agent 203.0.113.1",
		Args: noWords,
		RunE: func(c *cobra.Command, _ []string) error { return a.draft(c.Context(), f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.site, "site", "", "the site's `name`")
	fl.StringVar(&f.out, "out", "", "write the plan to this new `file` (else to standard output)")
	fl.StringArrayVar(&f.networks, "network", nil, "look into this `network` instead of this machine's own: NAME=SUBNET[,vlan=N][,gateway=ADDRESS][,unknown=count]")
	fl.StringArrayVar(&f.access, "access", nil, "how to ask agents, a `way` with a name: NAME=v2c:SECRET or NAME=v3:USER[:AUTH:SECRET[:PRIVACY:SECRET]]; a SECRET is file:NAME or env:NAME")
	fl.StringArrayVar(&f.agents, "agent", nil, "ask the SNMP `agent` at ADDRESS[:PORT][@ACCESS]")
	return c
}

func (a *app) draft(ctx context.Context, f draftFlags) error {
	opts, notes, err := f.options()
	if err != nil {
		return &exitError{exitUsage, err}
	}
	if f.out != "" {
		if _, err := os.Lstat(f.out); err == nil {
			return &exitError{exitUsage, &hintError{fmt.Errorf("--out %s: the file exists, and a draft overwrites nothing", f.out),
				"name a new file, and compare the two"}}
		}
	}
	if len(opts.Networks) == 0 && len(opts.Agents) == 0 {
		return &hintError{errors.New("this machine is attached to no network that could be looked into"),
			"name one with --network NAME=SUBNET, and an agent that knows of it with --agent"}
	}
	maker, err := a.makers()
	if err != nil {
		return err
	}
	past, closeBook, err := a.draftPast(ctx)
	if err != nil {
		return err
	}
	defer closeBook()
	scaffold := draft.Scaffold(opts)
	bar := a.progress()
	ev := discover.Survey(ctx, scaffold, discover.Options{Asked: true, Secrets: secrets(filepath.Join(filepath.Dir(f.out), "plan.yaml")), Progress: bar.part})
	bar.end()
	if ev.Aborted {
		return pass.ErrAborted
	}
	d := draft.Make(scaffold, ev, past, maker)
	text, err := planfile.Render(d.Plan, d.Remarks...)
	if err != nil {
		return err
	}
	if err := a.writeDraft(f.out, text); err != nil {
		return err
	}
	for _, n := range append(notes, d.Notes...) {
		fmt.Fprintf(a.stderr, "boundwalk: %s\n", n)
	}
	for _, c := range ev.Coverage {
		if c.Source == inventory.SourceARP && c.Result != inventory.Complete && c.Why != "" {
			fmt.Fprintf(a.stderr, "boundwalk: %s: %s\n", c.Subject, c.Why)
		}
	}
	fmt.Fprintf(a.stderr, "boundwalk: %d devices, %d lines to check (%s); then \"boundwalk check\", and \"boundwalk run\"\n",
		len(d.Plan.Devices), len(d.Remarks), `"# check:"`)
	return nil
}

// writeDraft makes the file anew; it never opens one that is there.
func (a *app) writeDraft(out string, text []byte) error {
	if out == "" {
		_, err := a.stdout.Write(text)
		return err
	}
	return writeNew(out, text)
}

// writeNew writes a file that must not exist.
func writeNew(path string, text []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return &exitError{exitUsage, &hintError{fmt.Errorf("%s: the file exists, and nothing is overwritten", path), "name a new file"}}
	}
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(path)) // it is ours, and half a file is worse than none
	}
	return nil
}

// draftPast opens the logbook where one is named, for names and draws.
func (a *app) draftPast(ctx context.Context) (draft.Past, func(), error) {
	nothing := func() {}
	if a.logbookPath == "" && os.Getenv("BOUNDWALK_LOGBOOK") == "" {
		return draft.Past{}, nothing, nil
	}
	l, err := store.OpenReader(ctx, a.findLogbook(""))
	if err != nil {
		return draft.Past{}, nothing, err
	}
	end := func() { l.Close() } // it was only read
	last, _, err := l.Snapshot(ctx)
	if err != nil {
		end()
		return draft.Past{}, nothing, err
	}
	return draft.Past{Last: last, Draws: func(ref inventory.PortRef) []inventory.Power {
		samples, err := l.PortSamples(ctx, ref, time.Now().AddDate(-1, 0, 0))
		if err != nil {
			fmt.Fprintf(a.stderr, "boundwalk: %v\n", err)
		}
		var out []inventory.Power
		for _, s := range samples {
			out = append(out, s.Draw)
		}
		return out
	}}, end, nil
}

func (f draftFlags) options() (draft.Options, []string, error) {
	o := draft.Options{Site: f.site}
	var notes []string
	var errs []error
	for _, s := range f.networks {
		n, err := parseNetwork(s)
		if err != nil {
			errs = append(errs, fmt.Errorf("--network %q: %w", s, err))
		}
		o.Networks = append(o.Networks, n)
	}
	for _, s := range f.access {
		x, err := parseAccess(s)
		if err != nil {
			errs = append(errs, fmt.Errorf("--access %q: %w", s, err))
		}
		o.Access = append(o.Access, x)
	}
	for _, s := range f.agents {
		x, err := parseAgent(s, o.Access)
		if err != nil {
			errs = append(errs, fmt.Errorf("--agent %q: %w", s, err))
		}
		if slices.ContainsFunc(o.Agents, func(y draft.Agent) bool { return y.Target == x.Target }) {
			errs = append(errs, fmt.Errorf("--agent %q: it is named twice", s))
		}
		o.Agents = append(o.Agents, x)
	}
	if len(errs) == 0 && len(f.networks) == 0 {
		var err error
		o.Networks, notes, err = draft.Attached()
		errs = append(errs, err)
	}
	return o, notes, errors.Join(errs...)
}

// parseNetwork reads NAME=SUBNET with further keys as in the plan.
func parseNetwork(s string) (inventory.Network, error) {
	n := inventory.Network{Unknown: inventory.UnknownWarning}
	name, rest, ok := strings.Cut(s, "=")
	parts := strings.Split(rest, ",")
	p, err := netip.ParsePrefix(parts[0])
	if !ok || err != nil || name == "" || !p.Addr().Is4() {
		return n, errors.New("write it as yard=203.0.113.0/25")
	}
	if p != p.Masked() {
		return n, fmt.Errorf("%s is an address in %s: write that", p, p.Masked())
	}
	n.Name, n.Subnet = name, p
	for _, part := range parts[1:] {
		k, v, _ := strings.Cut(part, "=")
		switch k {
		case "vlan":
			if n.VLAN, err = strconv.Atoi(v); err != nil || n.VLAN < 1 || n.VLAN > 4094 {
				return n, fmt.Errorf("%q is no VLAN, 1 to 4094", v)
			}
		case "gateway":
			if n.Gateway, err = netip.ParseAddr(v); err != nil || !n.Subnet.Contains(n.Gateway) {
				return n, fmt.Errorf("%q is no address in %s", v, n.Subnet)
			}
		case "unknown":
			n.Unknown = inventory.UnknownPolicy(v)
			if !slices.Contains([]inventory.UnknownPolicy{inventory.UnknownUrgent, inventory.UnknownWarning, inventory.UnknownNote,
				inventory.UnknownCount}, n.Unknown) {
				return n, fmt.Errorf("unknown=%s: it is urgent, warning, note or count", v)
			}
		default:
			return n, fmt.Errorf("%q: what may follow the subnet is vlan=, gateway= and unknown=", part)
		}
	}
	return n, nil
}

// parseAccess reads NAME=v2c:SECRET and NAME=v3:USER:AUTH:SECRET:PRIVACY:SECRET.
// A SECRET is a reference of two words; the secret itself never stands on a command line.
func parseAccess(s string) (inventory.Access, error) {
	bad := errors.New("write it as yard=v2c:file:yard.community or core=v3:audit:sha256:file:core.auth:aes:file:core.priv")
	name, rest, ok := strings.Cut(s, "=")
	w := strings.Split(rest, ":")
	x := inventory.Access{Name: name, Port: 161, Version: w[0]}
	if !ok || name == "" {
		return x, bad
	}
	ref := func(i int) inventory.SecretRef { return inventory.SecretRef(w[i] + ":" + w[i+1]) }
	switch {
	case (x.Version == "v1" || x.Version == "v2c") && len(w) == 3:
		x.Community = ref(1)
	case x.Version == "v3" && (len(w) == 2 || len(w) == 5 || len(w) == 8):
		x.User, x.Auth, x.Privacy = w[1], "none", "none"
		if len(w) > 2 {
			x.Auth, x.AuthKey = w[2], ref(3)
		}
		if len(w) > 5 {
			x.Privacy, x.PrivKey = w[5], ref(6)
		}
	default:
		return x, bad
	}
	for _, r := range []inventory.SecretRef{x.Community, x.AuthKey, x.PrivKey} {
		if kind, _, _ := strings.Cut(string(r), ":"); r != "" && kind != "file" && kind != "env" && kind != "credential" {
			return x, errors.New("a secret is named by where it lies: file:NAME, env:NAME or credential:NAME; it never stands on the command line")
		}
	}
	return x, nil
}

func parseAgent(s string, access []inventory.Access) (draft.Agent, error) {
	var x draft.Agent
	at, name, named := strings.Cut(s, "@")
	switch {
	case !named && len(access) == 1:
		name = access[0].Name
	case !named:
		return x, errors.New("say which --access it takes, as in 203.0.113.2@yard; none is tried by itself")
	}
	i := slices.IndexFunc(access, func(a inventory.Access) bool { return a.Name == name })
	if i < 0 {
		return x, fmt.Errorf("no --access is called %q", name)
	}
	x.Access = name
	if p, err := netip.ParseAddrPort(at); err == nil && p.Port() != 0 {
		x.Target = p
		return x, nil
	}
	a, err := netip.ParseAddr(at)
	if err != nil {
		return x, errors.New("write an address, with a port where it is not 161, as in 203.0.113.2 or 127.0.0.1:1161")
	}
	x.Target = netip.AddrPortFrom(a, access[i].Port)
	return x, nil
}
