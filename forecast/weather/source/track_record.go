package source

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"time"

	"thawline/forecast/weather"
)

// RecordDays is how far back the record of a bush's stations reaches.
const RecordDays = 30

// Stations count in equal parts: on the eight centres of an archived ensemble, weights
// by the inverse of how far each missed took the skill of frost from 0.181 to 0.183
// (backtest members). One that missed by half as much
// again as the best, ten days of the same for all added, which is twice as much in a
// month, has something else to say than this bush's weather and is left out.
const (
	pseudoDays  = 10.0
	missedRatio = 1.5
	fewestDays  = 5 // before anything is said of how far one missed
)

// lowHigh is the low and the high of a day by the sun, °C.
type lowHigh [2]float64

// recordDay is what stations told, the evening before, of a day by the sun, and what came.
type recordDay struct {
	Day  string             `json:"day"`
	Told map[string]lowHigh `json:"told"`
	Came *lowHigh           `json:"came,omitempty"`
}

// trackRecord is how a bush's stations did in the last thirty days.
type trackRecord []recordDay

// Read gives the low and the high that a bush's own thermometer had on a day
// (2026-03-21); ok is false where it did not have both.
type Read func(day string) (lowC, highC float64, ok bool)

func recordKey(siteID string) string { return "stations " + siteID }

// trackRecord brings the kept record of a bush up to now.
func (c *Chain) trackRecord(ctx context.Context, siteID string, from []heard, r *Request, fresh bool) trackRecord {
	var record trackRecord
	if c.Keep != nil {
		if data, _, err := c.Keep.read(ctx, recordKey(siteID)); err == nil && json.Unmarshal(data, &record) != nil {
			record = nil // damaged: it begins again
		}
	}
	if !fresh {
		return record
	}
	record = record.with(from, r)
	if c.Keep != nil {
		if err := c.Keep.write(ctx, recordKey(siteID), r.Now, record); err != nil && c.Log != nil {
			c.Log.Warn("how the stations did could not be kept", "site", siteID, "error", err)
		}
	}
	return record
}

// with adds what stations say of tomorrow, and what came of the days before.
func (t trackRecord) with(from []heard, r *Request) trackRecord {
	longitude := r.Place.LongitudeDeg
	if math.IsNaN(longitude) {
		longitude = 0
	}
	sun := time.Duration(longitude / 15 * float64(time.Hour))
	today := r.Now.UTC().Add(sun).Truncate(24 * time.Hour)
	t = slices.DeleteFunc(slices.Clone(t), func(d recordDay) bool {
		day, err := time.Parse(time.DateOnly, d.Day)
		return err != nil || day.Before(today.AddDate(0, 0, -RecordDays)) || day.After(today.AddDate(0, 0, 1))
	})
	tomorrow := recordDay{Day: today.AddDate(0, 0, 1).Format(time.DateOnly), Told: map[string]lowHigh{}}
	for i := range from {
		if of, ok := extremes(&from[i].bulletin, today.AddDate(0, 0, 1).Add(-sun)); ok {
			tomorrow.Told[from[i].name] = of
		}
	}
	if n := len(t); n > 0 && t[n-1].Day == tomorrow.Day {
		for name, of := range t[n-1].Told {
			if _, again := tomorrow.Told[name]; !again {
				tomorrow.Told[name] = of
			}
		}
		t = t[:n-1]
	}
	t = append(t, tomorrow)
	for i := range t {
		if day, _ := time.Parse(time.DateOnly, t[i].Day); day.Before(today) {
			t[i].came(from, r, day.Add(-sun))
		}
	}
	return t
}

// came fills in what a day brought: by the bush's own thermometer, else by the mean of
// what all stations now say of it, so that none is judged by itself alone.
func (d *recordDay) came(from []heard, r *Request, start time.Time) {
	if r.Read != nil {
		if low, high, ok := r.Read(d.Day); ok {
			d.Came = &lowHigh{low, high}
			return
		}
	}
	if d.Came != nil {
		return
	}
	var sum lowHigh
	for i := range from {
		of, ok := extremes(&from[i].bulletin, start)
		if !ok {
			return
		}
		sum[0], sum[1] = sum[0]+of[0]/float64(len(from)), sum[1]+of[1]/float64(len(from))
	}
	d.Came = &sum
}

// extremes are those of a day from its start; ok is false where too few hours are known.
func extremes(b *weather.Bulletin, start time.Time) (of lowHigh, ok bool) {
	course := b.Course.Between(start, start.Add(24*time.Hour))
	course.FillGaps()
	low, high, known := course.Extremes(course.Start(), course.End())
	return lowHigh{low, high}, known >= fewestKnown
}

// missed is the mean square of how far a station's lows and highs missed, K², and on how
// many days.
func (t trackRecord) missed(name string) (meanSquare float64, days int) {
	for i := range t {
		told, has := t[i].Told[name]
		if !has || t[i].Came == nil {
			continue
		}
		days++
		meanSquare += (square(told[0]-t[i].Came[0]) + square(told[1]-t[i].Came[1])) / 2
	}
	return meanSquare / max(float64(days), 1), days
}

func square(x float64) float64 { return x * x }

// choose leaves out stations that missed much more than the best, and says how all did.
func (t trackRecord) choose(from []heard) (used []heard, remarks []weather.Remark) {
	sum, all := 0.0, 0.0
	for i := range from {
		meanSquare, days := t.missed(from[i].name)
		sum, all = sum+meanSquare*float64(days), all+float64(days)
	}
	if all == 0 {
		return from, nil
	}
	held := make([]float64, len(from))
	for i := range from {
		meanSquare, days := t.missed(from[i].name)
		held[i] = (pseudoDays*sum/all + meanSquare*float64(days)) / (pseudoDays + float64(days))
	}
	best := slices.Min(held)
	for i := range from {
		meanSquare, days := t.missed(from[i].name)
		kind := weather.StationMissed
		if held[i] <= missedRatio*missedRatio*best {
			used = append(used, from[i])
		} else {
			kind = weather.StationLeftOut
		}
		if days >= fewestDays {
			remarks = append(remarks, weather.Remark{Kind: kind, Name: from[i].name, Of: days,
				ByK: math.Round(math.Sqrt(meanSquare)*10) / 10})
		}
	}
	return used, remarks
}
