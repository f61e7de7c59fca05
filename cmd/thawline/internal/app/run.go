package app

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math"
	"net"
	"os"
	"slices"
	"sync"
	"time"

	sd "github.com/coreos/go-systemd/v22/daemon"

	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// Provider asks the services of the settings.
type Provider struct {
	Services services
	// Kept is where the weather of the winter lies; without it only PastDays are asked for.
	Kept interface {
		Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error)
	}
	// Seen is what was seen in the bush: by its thermometer stations are judged; nil for
	// nothing.
	Seen interface {
		Observations(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredObservation, error)
	}
	asked sync.Map // ids of sites whose winter was asked for
}

// Ask fetches a site's weather within the time that services get: the first time with the
// weeks of winter that are not kept, since trees wake by them.
func (a *Provider) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	ctx, cancel := context.WithTimeout(ctx, AskDeadline)
	defer cancel()
	return fetch(ctx, a.Services, site, now, a.pastDays(ctx, site, now), a.thermometer(ctx, site, now))
}

// thermometer is what the bush's own has read while its stations' record reaches back, nil
// where they need none.
func (a *Provider) thermometer(ctx context.Context, site *forecast.Site, now time.Time) source.Read {
	if a.Seen == nil || len(site.Stations) == 0 || site.Zone == nil {
		return nil
	}
	seen, err := a.Seen.Observations(ctx, site.ID, now.AddDate(0, 0, -source.RecordDays), site.Zone)
	if err != nil {
		return nil // stations are judged by each other then
	}
	lows, highs := map[string]float64{}, map[string]float64{}
	for i := range seen {
		switch o := &seen[i]; o.Kind {
		case records.Low:
			lows[o.Day] = o.TemperatureC
		case records.High:
			highs[o.Day] = o.TemperatureC
		}
	}
	return func(day string) (lowC, highC float64, ok bool) {
		low, hasLow := lows[day]
		high, hasHigh := highs[day]
		return low, high, hasLow && hasHigh
	}
}

// winterDays is how much of a winter is asked for at once (Open-Meteo gives 92 days).
const winterDays = 75

func (a *Provider) pastDays(ctx context.Context, site *forecast.Site, now time.Time) int {
	if a.Kept == nil {
		return PastDays
	}
	if _, asked := a.asked.LoadOrStore(site.ID, true); asked {
		return PastDays
	}
	zone := site.Zone
	if zone == nil {
		zone = time.UTC
	}
	from, to := now.AddDate(0, 0, -winterDays), now.AddDate(0, 0, -PastDays)
	if winter := season.WinterStart(now, zone); winter.After(from) {
		from = winter
	}
	if !from.Before(to) {
		return PastDays
	}
	kept, err := a.Kept.Hours(ctx, PlaceKey(site), from, to)
	if err == nil {
		known := 0
		for _, c := range kept.Col(weather.TemperatureC) {
			if !math.IsNaN(c) {
				known++
			}
		}
		if 2*known > int(to.Sub(from).Hours()) {
			return PastDays
		}
	}
	return int(math.Ceil(now.Sub(from).Hours() / 24))
}

// Warnings asks for a site's official warnings alone.
func (a *Provider) Warnings(ctx context.Context, site *forecast.Site, now time.Time) forecast.Watch {
	ctx, cancel := context.WithTimeout(ctx, AskDeadline)
	defer cancel()
	return FetchWarnings(ctx, a.Services, site, now)
}

// daemonSettings turns checked settings into what the daemon goes by.
func daemonSettings(env Env, c *config.Config, a *archive.Archive, l *ledger.Ledger) (daemon.Settings, error) {
	chain, service, err := Services(env, c, StorageOf(c, a))
	if err != nil {
		return daemon.Settings{}, err
	}
	catalogue, err := message.LoadCatalogue(c.Words...)
	if err != nil {
		return daemon.Settings{}, err
	}
	s := daemon.Settings{Usual: Reader(c), Catalogue: catalogue, Asker: &Provider{Services: chain, Kept: a, Seen: a},
		Services: c.Weather.Sources, Channels: OpenChannels(env.Version, c, l), Paces: pacesOf(c), EveningAt: c.Serve.EveningAt,
		RefreshEvery: c.Serve.RefreshEvery, Thresholds: c.Alerts, Link: c.Serve.Link, Voice: c.Voice}
	if slices.Contains(c.Weather.Sources, service.Name()) && a != nil {
		s.PastWeather = (&PastWeather{Archive: a, Ask: service}).SomeOfIt
	}
	if len(c.LeftOut) > 0 {
		for _, w := range c.Warnings {
			if w.File != c.File && w.File != "environment" {
				s.LeftOut = append(s.LeftOut, w.String())
			}
		}
	}
	crews := crewsOf(c.People)
	for i := range c.Sites {
		site := c.Sites[i]
		AddCrew(&site, crews(site.ID))
		s.Sites = append(s.Sites, site)
		s.Tanks = append(s.Tanks, gaugedTanks(&c.Sites[i])...)
	}
	shareWeather(a, s.Sites)
	if len(s.Sites) > daemon.Many {
		if s.Asker, err = sharedAsker(chain, s.Sites, a); err != nil {
			return daemon.Settings{}, err
		}
	}
	s.People = PeopleOf(c)
	for _, own := range c.Serve.CallBacks {
		s.Shapes = append(s.Shapes, hooks.Shape{From: []string{own.From}, Text: []string{own.Text}, ID: []string{own.ID}})
	}
	return s, nil
}

// sharedAsker lets neighbours share what services say.
func sharedAsker(chain *source.Chain, sites []forecast.Site, seen *archive.Archive) (daemon.Asker, error) {
	located := make([]source.Located, len(sites))
	for i := range sites {
		located[i] = source.Located{ID: PlaceKey(&sites[i]), Place: sites[i].Place}
	}
	cells, err := source.NewCells(chain, located)
	return &Provider{Services: cells, Seen: seen}, err
}

// Open makes the whole program of settings, up to where it would start. load reads the settings
// anew when their files have changed.
func Open(ctx context.Context, env Env, settings *config.Config, load func() (*config.Config, error)) (*App, error) {
	for _, w := range settings.Warnings {
		env.Log.Warn(w.String())
	}
	kept, rescue, err := openOrRescue(ctx, env, settings)
	if err != nil {
		return nil, err
	}
	a := New(env, kept)
	a.load = load
	err = a.begin(ctx, settings)
	if err == nil && rescue != nil {
		err = a.Daemon.TellRescued(ctx, rescue.MadeAt, len(rescue.Missing) > 0, a.now())
	}
	if err != nil {
		return nil, errors.Join(err, kept.Close())
	}
	return a, nil
}

// begin takes the first settings.
func (a *App) begin(ctx context.Context, settings *config.Config) error {
	settings, err := a.openDesk(ctx, settings)
	if err != nil {
		return err
	}
	s, err := daemonSettings(a.env, settings, a.Archive, a.Daemon.Ledger)
	if err != nil {
		return err
	}
	warnOfWords(a.env.Log, s.Catalogue)
	a.SetSettings(settings, s.Catalogue)
	a.settings = settings
	a.Daemon.Holder = nodeID(settings, a.env.Log)
	a.Daemon.River, a.Daemon.ListenAt = settings.Serve.River, a.Archive.ListenAddress()
	if settings.Serve.River && !a.Archive.Shared() {
		a.env.Log.Warn("serve.engine: river works on PostgreSQL alone; this daemon goes by local")
	}
	if err := a.together(ctx); err != nil {
		return err
	}
	return a.Daemon.Use(s, a.now())
}

// outboxConnections are those by which deliveries are written.
const outboxConnections = 8

// together lets the daemon go by the clock of the database that it shares, and by a pace
// that all keep, and gives deliveries connections of their own.
func (a *App) together(ctx context.Context) error {
	a.now = a.env.Clock
	pool, err := a.Archive.OwnPool(outboxConnections)
	if err != nil {
		return err
	}
	a.Daemon.Outbox, a.Daemon.Pace = ledger.New(pool), engine.Paces{DB: pool}
	if a.env.Frozen {
		return nil
	}
	if a.Archive.Shared() {
		if a.clock, err = engine.OpenClock(ctx, pool, time.Now); err != nil {
			return err
		}
		a.now = a.clock.Now
	}
	a.Daemon.Now = a.now
	return nil
}

// Run asks, decides, sends, and answers on the listener until the context ends; without a
// listener it listens where the settings say.
func (a *App) Run(ctx context.Context, listener net.Listener) (err error) {
	settings := a.settings
	if listener == nil {
		if listener, err = net.Listen("tcp", settings.Serve.Listen); err != nil {
			return fmt.Errorf("serve.listen: %w; choose another address or end the program that has it", err)
		}
	}
	if err := a.SayCode(ctx); err != nil {
		return err
	}
	a.env.Log.Info("watching", "sites", len(settings.Sites), "people", len(settings.People), "listen", listener.Addr().String())
	return a.Serve(ctx, listener, func(ctx context.Context, failed <-chan error) error {
		_, _ = sd.SdNotify(false, sd.SdNotifyReady) // not under systemd: nothing to tell
		defer func() { _, _ = sd.SdNotify(false, sd.SdNotifyStopping) }()
		return a.watch(ctx, failed)
	})
}

// Close lets go of what is open.
func (a *App) Close() error { return a.Archive.Close() }

// warnOfWords says which files of words are left out.
func warnOfWords(log *slog.Logger, c *message.Catalogue) {
	for _, err := range c.LeftOut {
		log.Warn("a file of words can't be used and is left out", "error", err)
	}
}

// watched are the files and folders that settings are read from.
func watched(c *config.Config) []string {
	return append([]string{c.File, c.SitesFrom}, c.Words...)
}

const (
	// tick is how often the daemon looks what is due and what other programs wrote; each look
	// wakes the processor a dozen times.
	tick = 10 * time.Second
	// What other daemons record is looked for this often.
	tickShared = time.Second
	// How often the database's clock is read.
	clockEvery = 15 * time.Second
)

// watch begins what is due until the context ends, while the engine does it. The watchdog
// is fed as long as work moves on: a hang is seen.
func (a *App) watch(ctx context.Context, failed <-chan error) (err error) {
	changed := newChange(watched(a.settings)...)
	unheard := a.listen(ctx)
	defer func() { unheard() }()
	ticked := make(chan struct{}, 1)
	defer a.Remake(ctx, ticked)()
	stopped := a.run(ctx)
	defer func() { err = errors.Join(err, stopped()) }()
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	look := ticker
	if a.Archive.Shared() {
		look = time.NewTicker(tickShared)
		defer look.Stop()
	}
	heard := a.heardOf()
	var memory spare
	for {
		if a.Daemon.Plan(ctx, a.now()) {
			_, _ = sd.SdNotify(false, sd.SdNotifyWatchdog)
		}
		memory.look(a.Daemon.Made(), len(a.settings.Sites))
		a.tidy(ctx)
		for waits := true; waits; {
			select {
			case <-ctx.Done():
				return nil
			case err := <-failed:
				return fmt.Errorf("pages and metrics: %w", err)
			case <-ticker.C:
				waits = false
			case <-look.C:
				waits = a.Archive.Shared()
			case <-heard:
				waits = false
			}
			if len(ticked) == 0 {
				ticked <- struct{}{}
			}
		}
		if files := changed.seen(); files || a.membersChanged(ctx) {
			a.reload(ctx, files)
			changed.watch(watched(a.settings)...)
			unheard()
			unheard = a.listen(ctx)
		}
	}
}

// run lets the engine work, by the database's clock, until it is told to stop.
func (a *App) run(ctx context.Context) (stop func() error) {
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- a.Daemon.Run(ctx) }()
	if a.clock != nil {
		go a.clock.Follow(ctx, clockEvery)
	}
	return func() error {
		cancel()
		return <-ended
	}
}

// Remake makes outlooks again as soon as records are written, while steps go on, until it
// is told to stop. What another program writes on this machine is seen when ticked; nil
// never ticks.
func (a *App) Remake(ctx context.Context, ticked <-chan struct{}) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	a.Daemon.Remake(ctx, a.now()) // looks how things stand: what is written from here on is news
	go func() {
		defer close(ended)
		for {
			select {
			case <-ctx.Done():
				return
			case <-a.Archive.Written():
			case <-ticked:
			}
			a.Daemon.Remake(ctx, a.now())
		}
	}()
	return func() {
		cancel()
		<-ended
	}
}

// listen hears gauges until it is told to stop.
func (a *App) listen(ctx context.Context) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		a.Daemon.Listen(ctx, a.now)
	}()
	return func() {
		cancel()
		<-ended
	}
}

// reload takes the settings that stand in the files and the database now, if they check
// out; else those before go on. Files are read only where they have changed: a mistake in
// one keeps no change to a member from counting.
func (a *App) reload(ctx context.Context, files bool) {
	base, err := a.baseNow(), error(nil)
	if files {
		base, err = a.load()
	}
	settings := base
	if err == nil {
		settings, err = a.joined(ctx, base)
	}
	if err == nil {
		settings.Carry(a.settings)
		err = mayReload(a.settings, settings)
	}
	if err == nil {
		for _, w := range settings.Warnings {
			a.env.Log.Warn(w.String())
		}
	}
	var s daemon.Settings
	if err == nil {
		if s, err = daemonSettings(a.env, settings, a.Archive, a.Daemon.Ledger); err == nil {
			makeRoom(len(s.Sites))
			err = a.Daemon.Use(s, a.now())
		}
	}
	if err != nil {
		a.env.Log.Error("the changed settings are not used, the old ones go on", "error", err)
		a.Daemon.Refused(err)
		return
	}
	warnOfWords(a.env.Log, s.Catalogue)
	a.SetSettings(settings, s.Catalogue)
	a.settings = settings
	a.takeBase(base)
	a.env.Log.Info("settings reloaded", "sites", len(settings.Sites), "left out", len(settings.LeftOut))
}

// change sees that files were written. It waits until they have rested for a tick,
// so that a half-saved one is not read.
type change struct {
	paths        []string
	taken, noted uint64
}

func newChange(paths ...string) *change {
	c := &change{}
	c.watch(paths...)
	return c
}

// watch begins anew with other files; where they are the same, what has changed
// since is still seen.
func (c *change) watch(paths ...string) {
	if slices.Equal(c.paths, paths) {
		return
	}
	c.paths = paths
	c.taken = stateOf(paths)
	c.noted = c.taken
}

// stateOf is a number that another one follows once a file, or one in a folder,
// is written, added or removed; 0 where none can be seen.
func stateOf(paths []string) uint64 {
	sum := fnv.New64a()
	seen := false
	note := func(info os.FileInfo, err error) {
		if err == nil {
			seen = true
			_, _ = fmt.Fprintf(sum, "%s %d %d\n", info.Name(), info.ModTime().UnixNano(), info.Size())
		}
	}
	for _, path := range paths {
		info, err := os.Stat(path)
		note(info, err)
		if err != nil || !info.IsDir() {
			continue
		}
		entries, err := os.ReadDir(path)
		if err != nil {
			continue
		}
		for _, e := range entries {
			note(e.Info())
		}
	}
	if !seen {
		return 0
	}
	return sum.Sum64()
}

func (c *change) seen() bool {
	now := stateOf(c.paths)
	rested := now == c.noted && now != 0
	c.noted = now
	if rested && now != c.taken {
		c.taken = now
		return true
	}
	return false
}
