package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"
)

// anyNumber is for commands that take as many words as there are.
const anyNumber = math.MaxInt

// words checks how many words stand behind a command; what names the first one
// that is missing, as the use line does.
func words(least, most int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) < least:
			return fmt.Errorf("%s is missing", what)
		case len(args) > most:
			return fmt.Errorf("%q is one word too many", args[most])
		}
		return nil
	}
}

var noWords = words(0, 0, "")

// onlyCommands is for commands that have others below them, and refuses the rest.
func onlyCommands(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	err := fmt.Errorf("%q has no command %q", c.CommandPath(), args[0])
	c.SuggestionsMinimumDistance = 2 // letters that may be wrong
	if near := c.SuggestionsFor(args[0]); len(near) > 0 {
		return &hintError{err, fmt.Sprintf("perhaps \"%s %s\"", c.CommandPath(), strings.Join(near, "\", \""+c.CommandPath()+" "))}
	}
	return err
}

// strictArgs makes wrong arguments end with the code for wrong use.
func strictArgs(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(c *cobra.Command, args []string) error {
			err := check(c, args)
			switch err.(type) {
			case nil:
				return nil
			case *hintError:
				return &exitError{exitUsage, err}
			}
			return &exitError{exitUsage, &hintError{err, fmt.Sprintf("%q says how it is used", c.CommandPath()+" --help")}}
		}
	}
	for _, sub := range c.Commands() {
		strictArgs(sub)
	}
}

// plainHelp lets the help fit 80 columns, and speak as the rest does.
func plainHelp(root *cobra.Command) {
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages ", ".FlagUsagesWrapped 80 "))
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		switch c.Name() {
		case "help":
			c.Short = "Says how a command is used"
		case "completion":
			c.Short = "Writes a script by which a shell completes commands, keys, devices and ports"
		}
	}
}
