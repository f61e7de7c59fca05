// Command thawline tells when maple sap will run.
package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"regexp"
	"slices"
	"syscall"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast/archive"
	"thawline/forecast/units"
)

// version is set by the linker in releases.
var version = "dev"

// Exit codes.
const (
	exitFailed   = 1
	exitWrongUse = 2
	// What no restart of serve mends: settings that are wrong, records of a newer version (EX_CONFIG
	// of sysexits.h). deploy/thawline.service stops at it.
	exitSettings = 78
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	g := &cli.Globals{Version: version}
	err := commandOf(g).ExecuteContext(ctx)
	interrupted := ctx.Err() != nil && errors.Is(err, context.Canceled)
	stop()
	if err == nil {
		return
	}
	if interrupted { // somebody has ended it, and knows
		os.Exit(exitFailed)
	}
	more := ""
	var settings config.Errors
	if errors.As(err, &settings) && len(settings) > 1 && served(os.Args) && !term.IsTerminal(int(os.Stderr.Fd())) {
		// A log has one line for it; check tells all.
		more = fmt.Sprintf(" (1 of %d: see thawline check)", len(settings))
		err = settings[:1]
	}
	fmt.Fprintln(os.Stderr, "thawline: "+g.Words().Phrase(err.Error())+more)
	var wrong *cli.UsageError
	if errors.As(err, &wrong) {
		os.Exit(exitWrongUse)
	}
	if served(os.Args) && (settings != nil || errors.Is(err, archive.ErrNewer)) {
		os.Exit(exitSettings)
	}
	os.Exit(exitFailed)
}

// served reports whether a command line runs the daemon.
func served(args []string) bool { return slices.Contains(args, "serve") }

func rootCommand() *cobra.Command { return commandOf(&cli.Globals{Version: version}) }

func commandOf(g *cli.Globals) *cobra.Command {
	root := &cobra.Command{
		Use:           "thawline",
		Short:         "Tells when maple sap will run, how much, and what to do",
		Version:       version,
		SilenceUsage:  true,
		SilenceErrors: true,
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error {
			g.LogTo(cmd.ErrOrStderr(), slog.LevelWarn)
			return g.Check()
		},
		Args: knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return cli.Print(cmd.OutOrStdout(), g.Help(cmd)) },
	}
	g.Register(root.PersistentFlags())
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		said := notANumber.ReplaceAllString(err.Error(), "write a whole number")
		return cli.WrongUse(said + "; see " + cmd.CommandPath() + " --help")
	})
	backtest := &cobra.Command{Use: "backtest", Short: "Measures how good it is, on past data", RunE: cli.NeedsMore("which backtest?")}
	backtest.AddCommand(backtestSapCommand(g), backtestOwnCommand(g), backtestEveningsCommand(g), backtestThawCommand(g),
		backtestMembersCommand(g), backtestBudsCommand(g), backtestSensitivityCommand(g), backtestWorkCommand(g), backtestFitCommand(g),
		backtestSeasonCommand(g))
	for _, group := range []struct {
		id, title string
		commands  []*cobra.Command
	}{
		{cli.EveryDay, "Every day", []*cobra.Command{forecastCommand(g), roundsCommand(g), boilCommand(g), seasonCommand(g),
			alertsCommand(g), largeCommand(g), speakCommand(g)}},
		{cli.Records, "Records", []*cobra.Command{recordsCommand(g), reviewCommand(g), reportCommand(g)}},
		{cli.SettingUp, "Setting up", []*cobra.Command{initCommand(g), checkCommand(g), demoCommand(g), accessCommand(g),
			membersCommand(g), wordsCommand(g)}},
		{cli.Operating, "Operating", []*cobra.Command{serveCommand(g), dbCommand(g), bulletinCommand(g), backtest}},
	} {
		root.AddGroup(&cobra.Group{ID: group.id, Title: group.title})
		for _, c := range group.commands {
			c.GroupID = group.id
			root.AddCommand(c)
		}
	}
	root.AddCommand(manualCommand())
	root.SetHelpCommandGroupID(cli.Operating)
	root.SetCompletionCommandGroupID(cli.Operating)
	root.SetHelpFunc(func(cmd *cobra.Command, _ []string) { _ = cli.Print(cmd.OutOrStdout(), g.Help(cmd)) })
	cli.Complete(root, g)
	// Before the words are parted: else "--help --lang fr" is a command called fr.
	root.InitDefaultHelpFlag()
	root.InitDefaultVersionFlag()
	for _, c := range root.Commands() {
		if c.Args == nil && !c.HasSubCommands() {
			c.Args = cli.NoArguments
		}
	}
	return root
}

func knownCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, c := range cmd.Commands() {
		names = append(names, c.Name())
	}
	return cli.WrongUse(args[0] + ": no such command; " + units.Suggest(args[0], names, "see thawline --help"))
}

// notANumber is what the library says of a text where a whole number should be.
var notANumber = regexp.MustCompile(`must be an? (?:unsigned )?integer.*|must be in range.*|value out of range.*`)
