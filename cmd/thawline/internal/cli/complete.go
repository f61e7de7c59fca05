package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"thawline/config"
	"thawline/forecast/units"
)

// Complete lets a shell complete sites, groups, people, languages and units, for a command
// and all below it.
func Complete(cmd *cobra.Command, g *Globals) {
	for name, known := range map[string]func(c *config.Config, site string) []string{
		"site":   func(c *config.Config, _ string) []string { return sitesOf(c) },
		"group":  groupsOf,
		"person": func(c *config.Config, _ string) []string { return peopleOf(c) },
		"send":   func(c *config.Config, _ string) []string { return peopleOf(c) },
		"lang":   func(c *config.Config, _ string) []string { return c.Languages },
		"units": func(*config.Config, string) []string {
			return []string{string(units.US), string(units.Imperial), string(units.Metric)}
		},
	} {
		if cmd.Flags().Lookup(name) != nil || cmd.PersistentFlags().Lookup(name) != nil {
			_ = cmd.RegisterFlagCompletionFunc(name, g.completing(known)) // it is there
		}
	}
	if strings.HasSuffix(cmd.Use, " GROUP") {
		cmd.ValidArgsFunction = func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return g.completing(groupsOf)(cmd, args, begun)
		}
	}
	for _, c := range cmd.Commands() {
		Complete(c, g)
	}
}

func (g *Globals) completing(known func(c *config.Config, site string) []string) cobra.CompletionFunc {
	return func(cmd *cobra.Command, _ []string, begun string) ([]string, cobra.ShellCompDirective) {
		var out []string
		if err := g.Check(); err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		c, err := g.Settings()
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		site, _ := cmd.Flags().GetString("site")
		for _, one := range known(c, site) {
			if id, _, _ := strings.Cut(one, "\t"); strings.HasPrefix(id, begun) {
				out = append(out, one)
			}
		}
		return out, cobra.ShellCompDirectiveNoFileComp
	}
}

// A shell shows after a tab what a word stands for.
func sitesOf(c *config.Config) []string {
	var out []string
	for i := range c.Sites {
		out = append(out, c.Sites[i].ID+"\t"+c.Sites[i].Name)
	}
	return out
}

func groupsOf(c *config.Config, site string) []string {
	var out []string
	for i := range c.Sites {
		if site != "" && site != c.Sites[i].ID {
			continue
		}
		for j := range c.Sites[i].Groups {
			out = append(out, c.Sites[i].Groups[j].ID+"\t"+c.Sites[i].Groups[j].Name)
		}
	}
	return out
}

func peopleOf(c *config.Config) []string {
	var out []string
	for i := range c.People {
		out = append(out, c.People[i].ID+"\t"+c.People[i].Name)
	}
	return out
}
