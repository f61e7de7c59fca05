package main

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

// bushFlag chooses a site of the settings.
type bushFlag struct{ id string }

func (b *bushFlag) flag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&b.id, "site", "", "`ID` of a site in the settings; needed where there are several")
}

func (b *bushFlag) choose(c *config.Config) (*forecast.Site, error) {
	var ids []string
	for i := range c.Sites {
		if c.Sites[i].ID == b.id || b.id == "" && len(c.Sites) == 1 {
			return &c.Sites[i], nil
		}
		ids = append(ids, c.Sites[i].ID)
	}
	switch {
	case len(ids) == 0:
		return nil, wrongUse("records belong to a site: name a settings file that has one with --config")
	case b.id == "":
		return nil, wrongUse("which site? give --site with one of " + strings.Join(ids, ", "))
	}
	return nil, wrongUse(fmt.Sprintf("--site %s: there is no such site; %s", b.id, units.Suggest(b.id, ids, "the settings have "+strings.Join(ids, ", "))))
}

// by is who a record is from: the person at this machine.
func by() string {
	for _, name := range []string{"SUDO_USER", "USER", "LOGNAME"} {
		if v := os.Getenv(name); v != "" {
			return v
		}
	}
	return web.ByCommand
}
