package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Tank is one whose gauge may be heard.
type Tank struct {
	Site, ID string
	VolumeL  float64
	Groups   []Share // that end in it
}

// Share is a group's part of a tank, by its taps.
type Share struct {
	Group string
	Part  float64
}

// listener is a channel that hears gauges.
type listener interface {
	Listen(ctx context.Context, heard func(channel.Heard), troubled func(error)) error
}

// Listen hears the gauges of tanks, and thermometers, until the context ends.
func (d *Daemon) Listen(ctx context.Context, clock func() time.Time) {
	d.mu.Lock()
	channels := d.settings.Channels
	d.mu.Unlock()
	var wait sync.WaitGroup
	for id, c := range channels {
		l, can := c.(listener)
		if !can {
			continue
		}
		wait.Go(func() {
			heard := func(h channel.Heard) {
				if h.Ours {
					d.clearGone(ctx, id, c, h.Site)
					return
				}
				if err := d.gaugeSaid(ctx, h, clock()); err != nil {
					d.Log.Warn("a reading was left out", "channel", id, "site", h.Site, "tank", h.Tank, "error", err)
				}
			}
			troubled := func(err error) { d.Log.Warn("gauges can't be heard now", "channel", id, "error", err) }
			if err := l.Listen(ctx, heard, troubled); err != nil {
				d.Log.Error("gauges are not heard", "channel", id, "error", err)
			}
		})
	}
	wait.Wait()
}

// clearer is a channel that can take away what it holds of a site.
type clearer interface {
	Clear(ctx context.Context, site string) error
}

// clearGone takes away what a broker keeps of a bush that stands in no settings any more.
// One whose file can't be read just now may come back: nothing is cleared meanwhile.
func (d *Daemon) clearGone(ctx context.Context, id string, c any, site string) {
	d.mu.Lock()
	there := d.sites[site] != nil || len(d.settings.LeftOut) > 0
	d.mu.Unlock()
	cl, can := c.(clearer)
	if there || !can {
		return
	}
	go func() { // the broker's answer comes by the connection that this is called from
		ctx, cancel := context.WithTimeout(ctx, sendDeadline)
		defer cancel()
		if err := cl.Clear(ctx, site); err != nil {
			d.Log.Warn("what the broker keeps of a bush that is gone is not cleared", "channel", id, "site", site, "error", err)
		}
	}()
}

// Oldest and newest reading that is taken: a broker may have kept one from last
// week, and a gauge's clock may be wrong.
const (
	oldestReading = 24 * time.Hour
	newestReading = 5 * time.Minute
)

// longestReading is far above any document of a gauge.
const longestReading = 4096

// gaugeSaid keeps what a gauge said.
func (d *Daemon) gaugeSaid(ctx context.Context, h channel.Heard, now time.Time) error {
	if h.Tank == "" {
		return d.thermometerSaid(ctx, h, now)
	}
	tank, found := d.tank(h.Site, h.Tank)
	if !found {
		return errors.New("no such tank in the settings")
	}
	most, of := tank.VolumeL, tank.ID
	if h.Flow {
		most, of = math.Inf(1), flowOf(tank.ID)
	}
	level, err := readLevel(h.Body, most, now)
	if err != nil {
		return err
	}
	return d.Archive.PutLevel(ctx, tank.Site, of, level)
}

// flowOf is under which name readings of a tank's flow gauge are kept: what ran in since it
// was put up, in litres.
func flowOf(tank string) string { return "flow:" + tank }

func (d *Daemon) tank(site, id string) (Tank, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, t := range d.settings.Tanks {
		if t.Site == site && t.ID == id {
			return t, true
		}
	}
	return Tank{}, false
}

// readLevel reads a gauge's document; the unit is one of volume, or % of the tank.
func readLevel(body []byte, tankL float64, now time.Time) (records.Level, error) {
	const remedy = `; write it like {"ts":"2026-03-09T18:00:00Z","value":412,"unit":"L"}`
	at, value, unit, err := readGauge(body, now, remedy)
	if err != nil {
		return records.Level{}, err
	}
	l := records.Level{At: at}
	if unit == "%" && !math.IsInf(tankL, 1) {
		l.Litres = value / 100 * tankL
	} else {
		litres, err := units.ParseVolume(fmt.Sprintf("%g %s", value, unit), units.Metric)
		if err != nil {
			return records.Level{}, fmt.Errorf("%w%s", err, remedy)
		}
		l.Litres = litres
	}
	if !(l.Litres >= 0 && l.Litres <= 1.05*tankL) {
		return records.Level{}, fmt.Errorf("%.0f L can't stand in a tank of %.0f L; set the gauge or the tank's volume", l.Litres, tankL)
	}
	return l, nil
}

// readGauge reads a document: {"ts": …, "value": …, "unit": …}. ts is a time as in RFC
// 3339 or in seconds since 1970, and now where it is missing.
func readGauge(body []byte, now time.Time, remedy string) (at time.Time, value float64, unit string, err error) {
	fail := func(format string, args ...any) (time.Time, float64, string, error) {
		return time.Time{}, 0, "", fmt.Errorf(format, args...)
	}
	var said struct {
		TS    json.RawMessage `json:"ts"`
		Value *float64        `json:"value"`
		Unit  string          `json:"unit"`
	}
	if len(body) > longestReading {
		return fail("%d bytes are no reading%s", len(body), remedy)
	}
	if err := json.Unmarshal(body, &said); err != nil {
		return fail("not a reading: %w%s", err, remedy)
	}
	if said.Value == nil {
		return fail("the value is missing%s", remedy)
	}
	at = now.UTC()
	if len(said.TS) > 0 && string(said.TS) != "null" {
		var text string
		var seconds float64
		switch {
		case json.Unmarshal(said.TS, &seconds) == nil && math.Abs(seconds) < 1e11:
			at = time.UnixMilli(int64(seconds * 1000)).UTC()
		case json.Unmarshal(said.TS, &text) == nil:
			t, err := time.Parse(time.RFC3339, text)
			if err != nil {
				return fail("ts %q is no time%s", text, remedy)
			}
			at = t.UTC()
		default:
			return fail("ts %s is no time%s", said.TS, remedy)
		}
	}
	if age := now.Sub(at); age > oldestReading || age < -newestReading {
		return fail("the reading is of %s: too old, or not yet; set the gauge's clock", at.Format(time.RFC3339))
	}
	return at, *said.Value, strings.TrimSpace(said.Unit), nil
}

// gaugeDays is how many past days are looked at for readings that have not
// become a record yet.
const gaugeDays = 7

// fromGauges turns the readings of whole days into records, each day once: what
// a person takes back or corrects stays so.
func (d *Daemon) fromGauges(ctx context.Context, site *forecast.Site, now time.Time) error {
	d.mu.Lock()
	tanks := d.settings.Tanks
	d.mu.Unlock()
	var faults []error
	for _, t := range tanks {
		if t.Site != site.ID {
			continue
		}
		here := now.In(site.Zone)
		for back := gaugeDays; back >= 1; back-- {
			day := time.Date(here.Year(), here.Month(), here.Day()-back, 0, 0, 0, 0, site.Zone)
			faults = append(faults, d.fromGauge(ctx, site, &t, day, now))
		}
	}
	return errors.Join(faults...)
}

func (d *Daemon) fromGauge(ctx context.Context, site *forecast.Site, t *Tank, day, now time.Time) error {
	job, slot := "gauge "+t.ID, day.Format(time.DateOnly)
	if done, err := d.Ledger.Done(ctx, site.ID, job, slot); done || err != nil {
		return err
	}
	next := day.AddDate(0, 0, 1)
	levels, flow, err := d.readingsOf(ctx, site.ID, t, day, next)
	if err != nil || len(levels) == 0 {
		return err
	}
	stored, err := d.Archive.Visits(ctx, site.ID, day, site.Zone)
	if err != nil {
		return err
	}
	byHand := map[string]bool{}
	for _, v := range stored {
		if v.CollectedAt.Before(next) {
			byHand[v.Group] = true
		}
	}
	pulled := d.pulled(ctx, site, now)
	litres, fillings, atLeast := records.Risen(levels, t.VolumeL)
	note := "gauge of tank " + t.ID
	if flow {
		litres, atLeast = records.Counted(levels)
		note = "flow " + note
	}
	if atLeast {
		note += ", full or silent for hours: at least"
	}
	var visits []records.Visit
	for _, s := range t.Groups {
		if since := pulled[s.Group]; !since.IsZero() && since.Before(day) {
			continue // rain or rinsing water
		}
		if byHand[s.Group] {
			d.Log.Info("a record by hand stands for the day, the gauge's is left out", "site", site.ID, "group", s.Group, "date", slot)
			continue
		}
		visits = append(visits, records.Visit{Group: s.Group, CollectedAt: levels[len(levels)-1].At,
			VolumeL: math.Round(litres*s.Part*10) / 10, BrixPct: math.NaN(), Note: note})
	}
	if err := d.takeFromGauge(ctx, intake.Entry{Site: site, Visits: visits, Way: intake.Gauge,
		From: auth.Identity{Name: "gauge of " + t.ID, Role: auth.Crew}, Fillings: fillings}, now); err != nil {
		return err
	}
	return d.Ledger.MarkDone(ctx, site.ID, job, slot, now)
}

// readingsOf are a day's readings of a tank: of its flow gauge where there is one, which
// sees also what runs in while sap is drawn off.
func (d *Daemon) readingsOf(ctx context.Context, site string, t *Tank, day, next time.Time) (levels []records.Level, flow bool, err error) {
	for _, of := range []string{flowOf(t.ID), t.ID} {
		levels, err = d.Archive.Levels(ctx, site, of, day, next)
		if err != nil || len(levels) > 0 && !levels[len(levels)-1].At.Before(day) {
			return levels, of != t.ID, err
		}
	}
	return nil, false, nil
}

// takeFromGauge writes what gauges found; nobody is there to be asked about what can't
// be, so that the log tells of it.
func (d *Daemon) takeFromGauge(ctx context.Context, e intake.Entry, now time.Time) error {
	r, err := d.intake().Take(ctx, e, now)
	if err != nil || !r.Refused {
		return err
	}
	d.mu.Lock()
	usual := d.settings.Usual
	d.mu.Unlock()
	w, err := d.Words(usual)
	if err != nil {
		return err
	}
	d.Log.Warn("what a gauge says can't be and is left out", "site", e.Site.ID, "by", e.From.Name, "why", strings.Join(r.Faults(w), " "))
	return nil
}
