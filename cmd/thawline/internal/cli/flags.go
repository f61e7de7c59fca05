package cli

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/web"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/records"
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

// When reads a flag that says when something was, or with ahead when it will be, as
// people write it in English or French.
func When(flag, text string, now time.Time, zone *time.Location, ahead bool) (at time.Time, dateOnly bool, err error) {
	at, dateOnly, err = records.ReadWhen(text, now, zone, ahead)
	var two *records.TwoDays
	switch {
	case errors.As(err, &two):
		return at, dateOnly, WrongUse(flag + ": " + err.Error())
	case err != nil:
		return at, dateOnly, WrongUse(flag + " " + text + ": " + err.Error())
	}
	return at, dateOnly, nil
}

// Decimal is a number of an option, with a point or a comma before its decimals.
type Decimal float64

func (d *Decimal) String() string { return strconv.FormatFloat(float64(*d), 'f', -1, 64) }

// Set reads the number.
func (d *Decimal) Set(text string) error {
	x, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return errors.New("write a number, such as 2.1")
	}
	*d = Decimal(x)
	return nil
}

// Type is what help calls the value.
func (d *Decimal) Type() string { return "NUMBER" }
