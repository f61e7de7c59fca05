package cli

import (
	"fmt"

	"github.com/spf13/cobra"
)

// UsageError is a command line that cannot be meant.
type UsageError struct{ What string }

func (e *UsageError) Error() string { return e.What }

// WrongUse is an error of whoever wrote the command line: the program ends with 2.
func WrongUse(what string) error { return &UsageError{what} }

// NoArguments refuses words after a command that takes none.
func NoArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return WrongUse(fmt.Sprintf("%q is one word too many for %s; see %s --help", args[0], cmd.CommandPath(), cmd.CommandPath()))
	}
	return nil
}

// NeedsMore asks for the word that is missing.
func NeedsMore(which string) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, _ []string) error {
		return WrongUse(which + " see " + c.CommandPath() + " --help")
	}
}

// OneArgument asks for one word after the command, and says what it is.
func OneArgument(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return WrongUse("name " + what + "; see " + cmd.CommandPath() + " --help")
		}
		return nil
	}
}
