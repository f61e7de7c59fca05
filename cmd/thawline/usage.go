package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

// usageError is a command line that cannot be meant.
type usageError struct{ what string }

func (w *usageError) Error() string { return w.what }

// wrongUse is an error of whoever wrote the command line: the program ends with 2.
func wrongUse(what string) error { return &usageError{what} }

func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return wrongUse(fmt.Sprintf("%q is one word too many for %s; see %s --help", args[0], cmd.CommandPath(), cmd.CommandPath()))
	}
	return nil
}

// needsMore asks for the word that is missing.
func needsMore(which string) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, _ []string) error {
		return wrongUse(which + " see " + c.CommandPath() + " --help")
	}
}

func oneArgument(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return wrongUse("name " + what + "; see " + cmd.CommandPath() + " --help")
		}
		return nil
	}
}
