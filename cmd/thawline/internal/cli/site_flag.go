package cli

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/web"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/units"
)

// SiteFlag chooses a site of the settings.
type SiteFlag struct{ id string }

// Register adds --site to a command.
func (b *SiteFlag) Register(cmd *cobra.Command) {
	cmd.Flags().StringVar(&b.id, "site", "", "`ID` of the site, if the settings have several")
}

// Choose finds the site that is meant.
func (b *SiteFlag) Choose(c *config.Config) (*forecast.Site, error) {
	var ids []string
	for i := range c.Sites {
		if c.Sites[i].ID == b.id || b.id == "" && len(c.Sites) == 1 {
			return &c.Sites[i], nil
		}
		ids = append(ids, c.Sites[i].ID)
	}
	switch {
	case len(ids) == 0:
		return nil, WrongUse("records belong to a site: name a settings file that has one with --config")
	case b.id == "":
		return nil, WrongUse("which site? give --site with one of " + strings.Join(ids, ", "))
	}
	return nil, WrongUse(fmt.Sprintf("--site %s: there is no such site; %s", b.id,
		units.Suggest(b.id, ids, "the settings have "+strings.Join(ids, ", "))))
}

// Author is who a record is from: the person at this machine.
func Author() string {
	for _, name := range []string{"SUDO_USER", "USER", "LOGNAME"} {
		if v := os.Getenv(name); v != "" {
			return v
		}
	}
	return web.ByCommand
}
