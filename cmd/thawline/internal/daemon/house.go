package daemon

import (
	"context"
	"time"

	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// House is this winter's book of a site's sugarhouse, as outlooks are made from it.
func House(ctx context.Context, a *archive.Archive, site *forecast.Site, now time.Time) ([]records.HouseEntry, error) {
	stored, err := a.House(ctx, site.ID, season.WinterStart(now, site.Zone), site.Zone)
	var book []records.HouseEntry
	for i := range stored {
		book = append(book, stored[i].HouseEntry)
	}
	return book, err
}

// bookHouse writes a line in the sugarhouse's book.
func (d *Daemon) bookHouse(ctx context.Context, in *incoming) (string, error) {
	line := *in.said.House
	if line.At = in.on; in.onDay {
		y, m, d := in.on.Date()
		if line.At = time.Date(y, m, d, fireOut, 0, 0, 0, in.site.Zone); line.At.After(in.now) {
			line.At = in.now
		}
	}
	noted, err := d.intake().NoteHouse(ctx, in.site, writer(in.person), line, in.site.ID+"/in/"+in.key, in.now)
	if said, known := intake.SayHouseFault(in.words, err); known {
		return said, nil
	}
	if err != nil {
		return "", err
	}
	said := noted.Say(in.words)
	if !in.on.IsZero() {
		said = in.words.Say("house_earlier", map[string]any{"Said": said, "Day": in.words.Weekday(line.At), "Date": in.words.Date(line.At)})
	}
	return said, nil
}

// fireOut is the hour by which a day's fire is out where nobody says.
const fireOut = 20
