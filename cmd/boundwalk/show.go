package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"boundwalk/cmd/internal/page"
	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

func (a *app) showCommand() *cobra.Command {
	show := &cobra.Command{
		Use:   "show",
		Short: "Shows what the logbook holds; sends nothing",
		Args:  onlyCommands,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	var all bool
	var most int
	var only string
	devices := a.show("devices", "Each device of the last run: what it is and where it hangs", a.showDevices)
	ports := a.show("ports", "Each port: link, device, what it draws and how that is known", func(v *view) error {
		if err := v.hasPorts(only); err != nil {
			return err
		}
		if v.json {
			return report.PortsJSON(v.w, v.snap, v.hist, only)
		}
		return report.Ports(v.w, v.snap, v.hist, only, v.style)
	})
	ports.Flags().StringVar(&only, "switch", "", "only the ports of this `switch`")
	supplies := a.show("supplies", "Each power supply: what it gives, has promised, and has", func(v *view) error {
		if v.json {
			return report.SuppliesJSON(v.w, v.snap)
		}
		return report.Supplies(v.w, v.snap, v.hist, v.style)
	})
	tree := a.show("tree", "Which device hangs on which port of which", func(v *view) error {
		if v.json {
			return report.TreeJSON(v.w, v.snap)
		}
		return report.Tree(v.w, v.snap, v.style)
	})
	findings := a.show("findings", "The open findings", func(v *view) error { return a.showFindings(v, all) })
	findings.Flags().BoolVar(&all, "all", false, "also the hushed ones")
	runs := a.show("runs", "The latest runs", func(v *view) error {
		rows, err := v.book.Runs(v.cmd.Context(), most)
		if err != nil {
			return err
		}
		if v.json {
			return report.RunsJSON(v.w, rows)
		}
		return report.Runs(v.w, rows, v.plan.Site.Location, v.style)
	})
	runs.Flags().IntVar(&most, "most", 20, "how `many`")
	device := a.show("device", "All that is known of one device", a.showDevice)
	device.Use, device.Args, device.ValidArgsFunction = "device NAME", words(1, 1, "NAME"), inTurn(a.completeSeen)
	logins := a.show("logins", "Each factory account: whether it is still taken, and every try ever made", showLogins)
	whole := a.show("page", "All of it as one HTML page on standard output, as the daemon shows it to this machine", func(v *view) error {
		site, err := page.Read(v.cmd.Context(), v.book, v.plan, time.Now())
		if err != nil {
			return err
		}
		return report.LocalPage(v.w, site)
	})
	show.AddCommand(logins, whole, devices, ports, supplies, tree, findings, runs, device)
	return show
}

// view is what a show command looks at.
type view struct {
	cmd   *cobra.Command
	args  []string
	w     io.Writer
	style report.Style
	json  bool
	book  *store.Logbook
	plan  *inventory.Plan
	snap  *inventory.Snapshot // empty, never nil
	hist  *inventory.History
}

func (a *app) show(name, short string, f func(*view) error) *cobra.Command {
	return &cobra.Command{
		Use: name, Short: short, Args: noWords,
		RunE: func(c *cobra.Command, args []string) error {
			l, plan, err := a.openReader(c.Context())
			if err != nil {
				return err
			}
			defer l.Close()
			v := &view{cmd: c, args: args, w: a.stdout, style: a.style(), json: a.json, book: l, plan: plan}
			if v.hist, err = l.History(c.Context(), time.Now(), plan.Site.Location); err != nil {
				return err
			}
			v.snap = v.hist.Previous
			if v.snap == nil {
				if name != "runs" && name != "logins" {
					return &hintError{errNoRun, `"boundwalk run" makes one`}
				}
				v.snap = &inventory.Snapshot{}
			}
			return f(v)
		},
	}
}

// hasPorts fails where the last run saw no ports of the switch that was asked for.
func (v *view) hasPorts(name string) error {
	var have []string
	for i := range v.snap.Ports {
		if s := v.snap.Ports[i].Switch; !slices.Contains(have, s) {
			have = append(have, s)
		}
	}
	if name == "" || slices.Contains(have, name) {
		return nil
	}
	err := fmt.Errorf("the last run saw no ports of a switch %q", name)
	if len(have) == 0 {
		return err
	}
	return &hintError{err, "it saw those of " + strings.Join(have, ", ")}
}

func (a *app) showDevices(v *view) error {
	past, err := v.book.Devices(v.cmd.Context())
	if err != nil {
		return err
	}
	if v.json {
		return report.DevicesJSON(v.w, v.snap, past)
	}
	return report.Devices(v.w, v.snap, past, v.plan.Site.Location, v.style)
}

func (a *app) showFindings(v *view, all bool) error {
	eps, err := v.book.Episodes(v.cmd.Context(), time.Time{})
	if err != nil {
		return err
	}
	hushed := map[string]string{}
	var fs []diff.Finding
	for _, e := range eps {
		key := e.Finding.Key
		if open := v.hist.Open[key]; !open.HushedUntil.IsZero() {
			hushed[key] = open.HushWhy
			if !all {
				continue
			}
		}
		fs = append(fs, e.Finding)
	}
	diff.Sort(fs)
	if v.json {
		return report.FindingsJSON(v.w, fs, hushed)
	}
	return report.Findings(v.w, fs, hushed, v.plan.Site.Location, v.style)
}

func (a *app) showDevice(v *view) error {
	want := v.args[0]
	d, ok := findDevice(v.snap, want)
	if !ok {
		return &hintError{fmt.Errorf("the last run knows no device %q", want), deviceHint(v.snap, want)}
	}
	past, _, err := v.book.Device(v.cmd.Context(), d.Name, d.MACs)
	if err != nil {
		return err
	}
	eps, err := v.book.Episodes(v.cmd.Context(), time.Time{})
	if err != nil {
		return err
	}
	var fs []diff.Finding
	for _, e := range eps {
		if f := e.Finding; f.Subject == d.Name || slices.Contains(f.Behind, d.Name) || strings.HasPrefix(f.Subject, d.Name+"/") {
			fs = append(fs, f)
		}
	}
	if v.json {
		return report.DeviceJSON(v.w, d, past, fs)
	}
	return report.Device(v.w, v.snap, d, past, fs, v.plan.Site.Location, v.style)
}

// findDevice finds a device by name, MAC or address.
func findDevice(s *inventory.Snapshot, want string) (*inventory.SeenDevice, bool) {
	if d, ok := s.Device(want); ok {
		return d, true
	}
	m, err := inventory.ParseMAC(want)
	for i := range s.Devices {
		d := &s.Devices[i]
		if err == nil && slices.Contains(d.MACs, m) {
			return d, true
		}
		for _, ip := range slices.Concat(d.Addrs, d.Foreign) {
			if ip.String() == want {
				return d, true
			}
		}
	}
	return nil, false
}

func deviceHint(s *inventory.Snapshot, want string) string {
	var near []string
	for _, d := range s.Devices {
		if strings.Contains(d.Name, want) || strings.Contains(want, d.Name) {
			near = append(near, d.Name)
		}
	}
	if len(near) > 0 && len(near) < 8 {
		return "perhaps " + strings.Join(near, ", ")
	}
	return `"boundwalk show devices" lists them`
}

var errNoRun = errors.New("the logbook holds no complete run yet")
