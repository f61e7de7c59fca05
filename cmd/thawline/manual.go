package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"thawline/cmd/thawline/internal/cli"
)

// manualCommand writes the manual page, for the package: it is not shown.
func manualCommand() *cobra.Command {
	return &cobra.Command{Use: "manual", Hidden: true, Short: "Writes the manual page", Args: cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.Print(cmd.OutOrStdout(), manual(cmd.Root()))
		}}
}

// roff is a text as man(7) shows it unchanged.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`, "’", "'", "°", `\[de]`, "é", `\['e]`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}

// manual is thawline(1).
func manual(root *cobra.Command) string {
	var b strings.Builder
	b.WriteString(".TH THAWLINE 1 \"\" \"thawline " + roff(root.Version) +
		"\" \"thawline\"\n.SH NAME\nthawline \\- tells when maple sap will run\n.SH SYNOPSIS\n.B thawline\n.I COMMAND\n[options]\n.SH DESCRIPTION\n")
	b.WriteString(roff(root.Short+".") + "\n.SH OPTIONS OF EVERY COMMAND\n")
	flags(&b, root.PersistentFlags())
	b.WriteString(".SH COMMANDS\n")
	commandManual(&b, root)
	b.WriteString(".SH EXIT STATUS\n0 done, 1 failed, 2 wrong use, 78 what no new try of serve mends: wrong settings, or records of a newer version.\n" +
		".SH FILES\n.I /etc/thawline/thawline.yaml\n.RS\nSettings of the service; thawline init writes them.\n.RE\n.I /var/lib/thawline\n.RS\nRecords.\n.RE\n" +
		".SH SEE ALSO\nThe guides below\n.IR /usr/share/doc/thawline .\n")
	return b.String()
}

func commandManual(b *strings.Builder, of *cobra.Command) {
	for _, c := range of.Commands() {
		if c.Hidden || c.Name() == "help" {
			continue
		}
		if c.Runnable() && !c.HasAvailableSubCommands() {
			fmt.Fprintf(b, ".SS %s\n%s\n", roff(strings.TrimPrefix(c.UseLine(), "thawline ")), roff(c.Short+"."))
			if c.Long != "" && c.Name() != "bash" && c.Name() != "zsh" && c.Name() != "fish" && c.Name() != "powershell" {
				fmt.Fprintf(b, ".PP\n%s\n", roff(strings.ReplaceAll(strings.TrimSpace(c.Long), "\n\n", "\n.PP\n")))
			}
			flags(b, c.LocalNonPersistentFlags())
		}
		commandManual(b, c)
	}
}

func flags(b *strings.Builder, set *pflag.FlagSet) {
	set.VisitAll(func(f *pflag.Flag) {
		if f.Hidden || f.Name == "help" {
			return
		}
		value, usage := pflag.UnquoteUsage(f)
		fmt.Fprintf(b, ".TP\n.B \\-\\-%s", roff(f.Name))
		if value != "" {
			fmt.Fprintf(b, " \\fI%s\\fR", roff(value))
		}
		fmt.Fprintf(b, "\n%s\n", roff(usage))
	})
}
