package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// OutlookFlags say what an outlook is made of: a site of the settings, or a bush that the
// flags describe.
type OutlookFlags struct {
	site, at, zone, container, Elevation, weather, records, Chart string
	taps                                                          int
}

// Register adds the flags to a command.
func (f *OutlookFlags) Register(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&f.site, "site", "", "`ID` of the site, if the settings have several")
	fl.StringVar(&f.at, "at", "", "`PLACE` of a bush without settings, such as 44.21,-72.84 or \"44.21 N, 72.84 W\"")
	fl.StringVar(&f.zone, "tz", "", "its time `ZONE`, such as America/New_York (default: from the service or the map)")
	fl.IntVar(&f.taps, "taps", 0, "its `NUMBER` of taps")
	fl.StringVar(&f.container, "container", "", "`VOLUME` of each container, such as 7.5L or \"2 US gal\"")
	fl.StringVar(&f.Elevation, "elevation", "", "its `HEIGHT`, such as 410m or 1350ft")
	fl.StringVar(&f.weather, "weather", "", "replay a weather `FILE`, hourly or of daily lows and highs, instead of asking a service")
	fl.StringVar(&f.records, "records", "", "tap records `FILE` (CSV): when each group was last gathered")
}

// DrawOutlook writes the picture of an outlook and says where.
func DrawOutlook(c *config.Config, o *forecast.Outlook, dir string) (string, error) {
	words, err := app.Words(c)
	if err != nil {
		return "", err
	}
	name := o.Site + "-outlook"
	picture := chart.Outlook(o, nil, words.ChartLabels(o.Bush.Name), chart.Wide)
	pixels, err := picture.PNG()
	if err != nil {
		return "", err
	}
	if err := WriteChart(dir, name+".png", pixels); err != nil {
		return "", err
	}
	return filepath.Join(dir, name+".svg"), WriteChart(dir, name+".svg", picture.SVG())
}

// Make gathers what an outlook is made from and makes it; adjust may change
// the site first.
func (f *OutlookFlags) Make(cmd *cobra.Command, g *Globals, adjust func(*forecast.Site) error) (*config.Config, *forecast.Outlook, error) {
	settings, err := g.Settings()
	if err != nil {
		return nil, nil, err
	}
	for _, only := range []string{"taps", "container", "elevation", "tz"} {
		if f.at == "" && cmd.Flags().Changed(only) {
			return nil, nil, WrongUse("--" + only + " describes a bush without settings: give --at with it, or change it in the settings")
		}
	}
	site, err := chooseSite(settings, f)
	if err != nil {
		return nil, nil, err
	}
	now := g.Clock()
	var got forecast.Inputs
	var years weather.Daily
	if f.weather != "" {
		got, years, err = replayWeather(f.weather, &site, now)
	} else {
		end := g.Busy(cmd, "fetching weather")
		got, err = app.FetchWeather(cmd.Context(), g.Env(), settings, &site, now)
		end()
	}
	if err != nil {
		return nil, nil, err
	}
	if site.Zone == nil {
		if site.Zone, err = ZoneOf(got.Bulletin.ZoneName, site.Place); err != nil {
			return nil, nil, err
		}
	}
	if adjust != nil {
		if err := adjust(&site); err != nil {
			return nil, nil, err
		}
	}
	var written records.Notebook
	if f.records != "" {
		if written, err = ReadNotebook(f.records, site.Zone); err != nil {
			return nil, nil, err
		}
	}
	in := got
	in.Site, in.Now, in.Seed, in.EveningAt = site, now, forecast.SeedOf(&site, now), settings.Serve.EveningAt
	in.Visits, in.TapEvents = written.Visits, written.Taps
	if len(written.Visits) > 0 {
		from, to := forecast.EarlierWinters(now, site.Zone)
		if in.Taught, err = forecast.Teach(&site, notebook.Earlier(written.Visits, written.Taps, from, to)); err != nil {
			return nil, nil, fmt.Errorf("%s: %w", f.records, err)
		}
	}
	if in.Taught.Years.Days() == 0 {
		in.Taught.Years = years
	}
	if f.at == "" {
		in.AsksTaps = true
		app.AddSeason(cmd.Context(), g.Log, settings, &in)
	}
	outlook, err := forecast.Make(in)
	return settings, &outlook, err
}

// replayWeather reads a file as if a service had just issued it. Of a file of daily lows
// and highs the rows of this winter are the course, those from today on the forecast, and
// those before it are the place's earlier years.
func replayWeather(path string, site *forecast.Site, now time.Time) (got forecast.Inputs, years weather.Daily, err error) {
	daily, _, err := KindOf(path)
	if errors.Is(err, fs.ErrNotExist) {
		return got, years, fmt.Errorf("%s: there is no such file; check its name and folder", path)
	}
	if err != nil {
		return got, years, err
	}
	var course weather.Series
	var remarks []weather.Remark
	if daily {
		course, years, err = replayDays(path, site, now)
	} else {
		course, remarks, err = readHourly(path)
	}
	if err != nil {
		return got, years, err
	}
	if now.Before(course.Start()) || !now.Before(course.End()) {
		return got, years, fmt.Errorf("%s: covers %s to %s and not %s; give a moment within it with --now", path,
			course.Start().Format(time.RFC3339), course.End().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	}
	got.Bulletin = weather.Bulletin{Source: "file", IssuedAt: now.UTC(), FetchedAt: now.UTC(), Course: course,
		ElevationM: math.NaN(), Remarks: append(remarks, weather.Remark{Kind: weather.Replayed, Name: path})}
	return got, years, nil
}

func replayDays(path string, site *forecast.Site, now time.Time) (course weather.Series, years weather.Daily, err error) {
	all, err := ReadDaily(path)
	if err != nil {
		return course, years, err
	}
	all.FillGaps()
	zone := site.Zone
	if zone == nil {
		zone = time.UTC
	}
	winter := season.WinterStart(now, zone)
	this := all.Between(winter, now.In(zone).AddDate(0, 0, app.FutureDays))
	years = all.Between(all.First, winter.AddDate(0, 0, -1))
	return this.Hourly(site.Place), years, nil
}

// chooseSite is the site of the settings that is meant, or one made of flags.
func chooseSite(c *config.Config, f *OutlookFlags) (forecast.Site, error) {
	if f.at != "" {
		return siteFromFlags(c, f)
	}
	var ids []string
	for i := range c.Sites {
		if c.Sites[i].ID == f.site || (f.site == "" && len(c.Sites) == 1) {
			site := c.Sites[i]
			app.AddCrew(&site, c.People)
			return site, nil
		}
		ids = append(ids, c.Sites[i].ID)
	}
	switch {
	case len(ids) == 0:
		return forecast.Site{}, WrongUse("no site: name a settings file with --config, or give --at LAT,LON --taps N --container 7.5L")
	case f.site == "":
		return forecast.Site{}, WrongUse("which site? give --site with one of " + strings.Join(ids, ", "))
	}
	return forecast.Site{}, WrongUse(fmt.Sprintf("--site %s: there is no such site; %s", f.site,
		units.Suggest(f.site, ids, "the settings have "+strings.Join(ids, ", "))))

}

func siteFromFlags(c *config.Config, f *OutlookFlags) (forecast.Site, error) {
	var wrong []string
	fail := func(flag, what string) { wrong = append(wrong, flag+": "+what) }
	latitude, longitude, zone := PlaceFromFlags(f.at, f.zone, fail)
	if f.taps <= 0 {
		fail("--taps", "give the number of taps, one or more")
	}
	gallons := c.Units
	if gallons == "" {
		gallons = units.Metric
	}
	var container float64
	if f.container == "" {
		fail("--container", "give what hangs at each tap, such as 7.5L or \"2 US gal\"")
	} else if litres, err := units.ParseVolume(f.container, gallons); err != nil {
		fail("--container", err.Error())
	} else if container = litres; container < 1 || container > 40 {
		fail("--container "+f.container, "no pail or bag at a tap is that size: check the number and its unit")
	}
	elevation := math.NaN()
	if f.Elevation != "" {
		metres, err := parseElevation(f.Elevation)
		if err != nil {
			fail("--elevation", err.Error())
		}
		elevation = metres
	}
	if len(wrong) > 0 {
		return forecast.Site{}, WrongUse(strings.Join(wrong, "\n"))
	}
	words, err := app.Words(c)
	if err != nil {
		return forecast.Site{}, err
	}
	return forecast.Site{
		ID: source.Unnamed, Name: words.Say("bush_at",
			map[string]any{"Place": weather.Coordinate(latitude) + ", " + weather.Coordinate(longitude)}),
		Place:         weather.Place{LatitudeDeg: latitude, LongitudeDeg: longitude, ElevationM: elevation},
		Zone:          zone,
		TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
		Groups: []forecast.Group{{ID: "taps", Name: words.Say("init_group_pail", nil), Taps: f.taps, Method: "pail",
			ContainerL: container}},
	}, nil
}

// ShowOutlook prints an outlook and its evening text, or its document.
func ShowOutlook(out io.Writer, asJSON bool, c *config.Config, o *forecast.Outlook) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	if asJSON {
		return WriteJSON(out, sections.DocumentOf(o, words))
	}
	if err := sections.Print(out, o, words, c.Units); err != nil {
		return fmt.Errorf("print the outlook: %w", err)
	}
	_, err = fmt.Fprintf(out, "\n%s\n  %s\n", words.Say("report_text", nil), words.Evening(o))
	return err
}
