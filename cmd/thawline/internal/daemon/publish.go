package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"time"

	"thawline/forecast"
)

// publisher is a channel that can hold documents for machines.
type publisher interface {
	Publish(ctx context.Context, site, name string, documents map[string][]byte) error
}

// publish gives the outlook to channels that hold it for machines.
func (d *Daemon) publish(ctx context.Context, site *forecast.Site, o *forecast.Outlook, now time.Time) {
	d.mu.Lock()
	channels := d.settings.Channels
	d.mu.Unlock()
	for id, c := range channels {
		p, can := c.(publisher)
		if !can {
			continue
		}
		whole, err1 := json.Marshal(o)
		short, err2 := json.Marshal(tomorrow(o, now.In(site.Zone)))
		err := errors.Join(err1, err2)
		if err == nil {
			ctx, cancel := context.WithTimeout(ctx, sendDeadline)
			err = p.Publish(ctx, site.ID, site.Name, map[string][]byte{"outlook": whole, "tomorrow": short})
			cancel()
		}
		if err != nil {
			d.Log.Warn("the outlook was not published", "channel", id, "site", site.ID, "error", err)
		}
	}
}

// figures are tomorrow in the plain numbers that a home automation shows; null
// where nothing is known.
type figures struct {
	Date         string    `json:"date"`
	RunChancePct *float64  `json:"run_chance_pct"`
	SapL         *float64  `json:"sap_l"`
	SapP10L      *float64  `json:"sap_p10_l"`
	SapP90L      *float64  `json:"sap_p90_l"`
	LowC         *float64  `json:"low_c"`
	HighC        *float64  `json:"high_c"`
	IssuedAt     time.Time `json:"issued_at"`
	workFigures
}

// workFigures are what there is to do.
type workFigures struct {
	Gather            bool       `json:"gather"` // a round begins before tomorrow's evening
	NextRoundAt       *time.Time `json:"next_round_at"`
	OverflowAt        *time.Time `json:"overflow_at"` // of the group that runs over first if nobody goes
	OverflowChancePct *float64   `json:"overflow_chance_pct"`
	OldestSapH        *float64   `json:"oldest_sap_h"` // that may still be boiled
	SeasonEnd         *string    `json:"season_end"`
}

func workOf(o *forecast.Outlook, here time.Time) (f workFigures) {
	y, m, d := here.AddDate(0, 0, 1).Date()
	evening := time.Date(y, m, d, 18, 0, 0, 0, here.Location())
	for i := range o.Work.Rounds {
		if r := &o.Work.Rounds[i]; r.End.After(here) {
			f.NextRoundAt, f.Gather = &r.Start, r.Start.Before(evening)
			break
		}
	}
	for i := range o.Work.Groups {
		g := &o.Work.Groups[i]
		if g.Pulled || g.Untapped || o.Season.Closed != nil {
			continue
		}
		if chance := 100 * g.AloneProbability; f.OverflowChancePct == nil || chance > *f.OverflowChancePct {
			f.OverflowChancePct = &chance
		}
		if at := g.AloneOverAt; at != nil && (f.OverflowAt == nil || at.Before(*f.OverflowAt)) {
			f.OverflowAt = at
		}
	}
	for i := range o.Stock.Sap {
		if b := &o.Stock.Sap[i]; !b.Spoilt {
			if ran, err := time.ParseInLocation(time.DateOnly, b.RanOn, here.Location()); err == nil {
				y, m, d := ran.Date() // of that day the middle
				hours := max(math.Round(here.Sub(time.Date(y, m, d, 12, 0, 0, 0, here.Location())).Hours()), 0)
				f.OldestSapH = &hours
				break
			}
		}
	}
	if end := o.Season.End.P50; end != "" && o.Season.Closed == nil {
		f.SeasonEnd = &end
	}
	return f
}

func tomorrow(o *forecast.Outlook, here time.Time) figures {
	f := figures{Date: here.AddDate(0, 0, 1).Format(time.DateOnly), IssuedAt: o.Source.IssuedAt.UTC(), workFigures: workOf(o, here)}
	for i := range o.Days {
		if day := &o.Days[i]; day.Date == f.Date {
			chance := 100 * day.RunProbability
			f.RunChancePct = &chance
			f.SapL, f.SapP10L, f.SapP90L = &day.VolumeL.P50, &day.VolumeL.P10, &day.VolumeL.P90
			f.LowC, f.HighC = &day.TemperatureC.Min, &day.TemperatureC.Max
		}
	}
	return f
}
