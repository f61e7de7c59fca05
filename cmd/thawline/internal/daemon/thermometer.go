package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// thermometerSaid keeps what a bush's thermometer said, until its lows and highs are
// taken.
func (d *Daemon) thermometerSaid(ctx context.Context, h channel.Heard, now time.Time) error {
	const remedy = `; write it like {"ts":"2026-03-09T18:00:00Z","value":-3.5,"unit":"C"}`
	d.mu.Lock()
	site := d.sites[h.Site]
	d.mu.Unlock()
	if site == nil {
		return errors.New("no such site in the settings")
	}
	at, value, unit, err := readGauge(h.Body, now, remedy)
	if err != nil {
		return err
	}
	if unit == "" {
		return errors.New("the unit is missing" + remedy)
	}
	celsius, err := units.ParseTemperature(fmt.Sprintf("%g %s", value, unit))
	if err != nil {
		return fmt.Errorf("%w%s", err, remedy)
	}
	d.measured.Store(true)
	return d.Archive.PutReading(ctx, site.ID, records.Reading{At: at, TemperatureC: celsius})
}

// fromThermometer takes the lows and highs of a thermometer's readings, of each night and
// day once: what a person takes back stays so, and what one read stands before it.
func (d *Daemon) fromThermometer(ctx context.Context, site *forecast.Site, now time.Time) error {
	if !d.measured.Load() && !d.hearsGauges() {
		return nil
	}
	from := now.AddDate(0, 0, -gaugeDays)
	readings, err := d.Archive.Readings(ctx, site.ID, from, now)
	if err != nil || len(readings) == 0 {
		return err
	}
	stored, err := d.Archive.Observations(ctx, site.ID, from.AddDate(0, 0, -1), site.Zone)
	if err != nil {
		return err
	}
	known := map[string]bool{}
	for i := range stored {
		known[string(stored[i].Kind)+stored[i].Day] = true
	}
	var faults []error
	for _, o := range records.FromReadings(readings, site.Zone, now) {
		faults = append(faults, d.fromReadings(ctx, site, o, known[string(o.Kind)+o.Day], now))
	}
	return errors.Join(faults...)
}

func (d *Daemon) fromReadings(ctx context.Context, site *forecast.Site, o records.Observation, known bool, now time.Time) error {
	job := "thermometer " + string(o.Kind)
	if done, err := d.Ledger.Done(ctx, site.ID, job, o.Day); done || err != nil {
		return err
	}
	if !known {
		_, err := d.intake().Observe(ctx,
			intake.Seen{Site: site, List: []records.Observation{o}, From: auth.Identity{Name: "thermometer", Role: auth.Crew}}, now)
		var fault *records.ObservationFault
		if errors.As(err, &fault) {
			d.Log.Warn("what a thermometer says can't be and is left out", "site", site.ID, "day", o.Day, "kind", o.Kind, "why",
				fault.Error())
		} else if err != nil {
			return err
		}
	}
	return d.Ledger.MarkDone(ctx, site.ID, job, o.Day, now)
}

// hearsGauges reports whether a channel of the settings can bring readings.
func (d *Daemon) hearsGauges() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, c := range d.settings.Channels {
		if _, can := c.(listener); can {
			return true
		}
	}
	return false
}
