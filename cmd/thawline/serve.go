package main

import (
	"context"
	"fmt"
	"hash/fnv"
	"log/slog"
	"net"
	"os"
	"slices"
	"time"

	sd "github.com/coreos/go-systemd/v22/daemon"
	"github.com/spf13/cobra"

	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather/source"
)

func serveCommand(g *globals) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Watches all season: asks for weather, decides, and sends the evening text",
		RunE: func(cmd *cobra.Command, _ []string) error {
			g.logTo(cmd.ErrOrStderr(), slog.LevelInfo)
			g.ownWords = true
			return serve(cmd.Context(), g)
		},
	}
	cmd.Args = noArguments
	return cmd
}

// chainAsker asks the services of the settings.
type chainAsker struct{ chain asksServices }

func (a chainAsker) Ask(ctx context.Context, site *forecast.Site, now time.Time) (daemon.Answer, error) {
	ctx, cancel := context.WithTimeout(ctx, askDeadline)
	defer cancel()
	got, err := askChain(ctx, a.chain, site, now)
	return daemon.Answer{Bulletin: got.bulletin, Kept: got.kept, PassedOver: got.passedOver}, err
}

// daemonSettings turns checked settings into what the daemon goes by.
func daemonSettings(g *globals, c *config.Config, a *archive.Archive, l *ledger.Ledger) (daemon.Settings, error) {
	chain, _, err := newChain(g, c, keptIn{dir: c.DataDir, archive: a, shared: c.Database.Given()})
	if err != nil {
		return daemon.Settings{}, err
	}
	catalogue, err := message.LoadCatalogue(c.Words...)
	if err != nil {
		return daemon.Settings{}, err
	}
	s := daemon.Settings{Usual: reader(c), Catalogue: catalogue, Asker: chainAsker{chain}, Services: c.Weather.Sources, Channels: openChannels(c, l), EveningAt: c.Serve.EveningAt, RefreshEvery: c.Serve.RefreshEvery, Thresholds: c.Alerts, Link: c.Serve.Link}
	if len(c.LeftOut) > 0 {
		for _, w := range c.Warnings {
			if w.File != c.File && w.File != "environment" {
				s.LeftOut = append(s.LeftOut, w.String())
			}
		}
	}
	for i := range c.Sites {
		site := c.Sites[i]
		withCrew(&site, c.People)
		s.Sites = append(s.Sites, site)
		s.Tanks = append(s.Tanks, gaugedTanks(&c.Sites[i])...)
	}
	if len(s.Sites) > daemon.Many {
		if s.Asker, err = sharedAsker(chain, s.Sites); err != nil {
			return daemon.Settings{}, err
		}
	}
	s.People = peopleOf(c)
	return s, nil
}

// sharedAsker lets neighbours share what services say.
func sharedAsker(chain *source.Chain, sites []forecast.Site) (daemon.Asker, error) {
	located := make([]source.Located, len(sites))
	for i := range sites {
		located[i] = source.Located{ID: placeKey(&sites[i]), Place: sites[i].Place}
	}
	cells, err := source.NewCells(chain, located)
	return chainAsker{cells}, err
}

func serve(ctx context.Context, g *globals) error {
	if noSettingsYet(g) {
		if written, err := firstRun(ctx, g); err != nil || !written {
			return err
		}
	}
	settings, err := g.settings()
	if err != nil {
		return err
	}
	if len(settings.Sites) == 0 {
		return &wrongUse{"no site: name a settings file with --config"}
	}
	for _, w := range settings.Warnings {
		g.log.Warn(w.String())
	}
	a, err := openArchive(ctx, settings)
	if err != nil {
		return err
	}
	defer a.Close()
	s, err := daemonSettings(g, settings, a, ledger.New(a.DB()))
	if err != nil {
		return err
	}
	g.warnOfWords(s.Catalogue)
	h := newHouse(g, a, g.clock)
	h.use(settings, s.Catalogue)
	h.daemon.Holder = holder(settings, g.log)
	if g.now == "" { // else the clock stands still
		h.daemon.Now = time.Now
	}
	if err := h.daemon.Use(s, g.clock()); err != nil {
		return err
	}
	listener, err := net.Listen("tcp", settings.Serve.Listen)
	if err != nil {
		return fmt.Errorf("serve.listen: %w; choose another address or end the program that has it", err)
	}
	if err := h.sayCode(ctx, g); err != nil {
		return err
	}
	g.log.Info("watching", "sites", len(s.Sites), "people", len(s.People), "listen", listener.Addr().String())
	return h.serve(ctx, listener, func(ctx context.Context, failed <-chan error) error {
		_, _ = sd.SdNotify(false, sd.SdNotifyReady) // not under systemd: nothing to tell
		defer func() { _, _ = sd.SdNotify(false, sd.SdNotifyStopping) }()
		return watch(ctx, g, h, settings, failed)
	})
}

// warnOfWords says which files of words are left out.
func (g *globals) warnOfWords(c *message.Catalogue) {
	for _, err := range c.LeftOut {
		g.log.Warn("a file of words can't be used and is left out", "error", err)
	}
}

// watched are the files and folders that settings are read from.
func watched(c *config.Config) []string {
	return append([]string{c.File, c.SitesFrom}, c.Words...)
}

// tick is how often the daemon looks what is due.
const tick = 5 * time.Second

// watch steps until the context ends. The watchdog is fed only after a whole
// step: a hang is seen.
func watch(ctx context.Context, g *globals, h *house, settings *config.Config, failed <-chan error) error {
	d := h.daemon
	changed := newChange(watched(settings)...)
	unheard := listen(ctx, g, d)
	defer func() { unheard() }()
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	for {
		d.Step(ctx, g.clock())
		h.tidy(ctx)
		_, _ = sd.SdNotify(false, sd.SdNotifyWatchdog)
		select {
		case <-ctx.Done():
			return nil
		case err := <-failed:
			return fmt.Errorf("pages and metrics: %w", err)
		case <-ticker.C:
		}
		if changed.seen() {
			settings = reload(g, h, settings)
			changed.watch(watched(settings)...)
			unheard()
			unheard = listen(ctx, g, d)
		}
	}
}

// listen hears gauges until it is told to stop.
func listen(ctx context.Context, g *globals, d *daemon.Daemon) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		d.Listen(ctx, g.clock)
	}()
	return func() {
		cancel()
		<-ended
	}
}

// reload takes the settings that stand in the files now, if they check out, and
// returns those that are used.
func reload(g *globals, h *house, earlier *config.Config) *config.Config {
	d := h.daemon
	settings, err := g.settings()
	if err == nil {
		settings.Carry(earlier)
		err = mayReload(earlier, settings)
	}
	if err == nil {
		for _, w := range settings.Warnings {
			g.log.Warn(w.String())
		}
	}
	var s daemon.Settings
	if err == nil {
		if s, err = daemonSettings(g, settings, h.archive, d.Ledger); err == nil {
			err = d.Use(s, g.clock())
		}
	}
	if err != nil {
		g.log.Error("the changed settings are not used, the old ones go on", "error", err)
		d.Refused(err)
		return earlier
	}
	g.warnOfWords(s.Catalogue)
	h.use(settings, s.Catalogue)
	g.log.Info("settings reloaded", "sites", len(settings.Sites), "left out", len(settings.LeftOut))
	return settings
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
