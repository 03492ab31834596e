package main

import (
	"fmt"
	"io"

	"boundwalk/cmd/internal/report"
	"boundwalk/inventory/planfile"

	"github.com/spf13/cobra"
)

// topics are what help tells beside the commands.
func (a *app) topics() []*cobra.Command {
	return []*cobra.Command{
		a.topic("plan", "Every key of the plan file", planIntro, func(w io.Writer, s report.Style) error {
			return report.PlanKeys(w, planfile.Reference(), s)
		}),
		a.topic("findings", "Every kind of finding", findingsIntro, report.Kinds),
	}
}

const planIntro = `The plan file is YAML. NAME and NUMBER stand for names and port numbers of your
own; quantities carry their unit. A model holds what several devices have in common,
and a device's own keys stand over those of its model. /usr/share/doc/boundwalk has
an example with comments.`

const findingsIntro = `A finding's key is its kind and its subject, such as missing-device/slip-cam: accept
and hush take it. Under "severity:" the plan gives a kind another severity, or
off; "important: true" raises all findings of a device by one step.`

// topic is a command that only help shows. Its text is made when it is asked for.
func (a *app) topic(name, short, intro string, write func(io.Writer, report.Style) error) *cobra.Command {
	c := &cobra.Command{Use: name, Short: short}
	c.SetHelpFunc(func(*cobra.Command, []string) {
		fmt.Fprintf(a.stdout, "%s\n\n", intro)
		if err := write(a.stdout, a.style()); err != nil {
			a.complain(err)
		}
	})
	return c
}
