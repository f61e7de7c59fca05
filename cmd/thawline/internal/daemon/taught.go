package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"
	"time"

	"thawline/alerts/ledger"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/season"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Taught is what the seasons before this one taught about a site. It is worked out
// when their records, their weather or the groups have changed, and kept.
func Taught(ctx context.Context, a *archive.Archive, site *forecast.Site, place string, now time.Time) (forecast.Taught, error) {
	season := seasonOf(ctx, a, site, place, now)
	for i := range season.LeftOut {
		if season.LeftOut[i].Of == archive.OfEarlier {
			return forecast.Taught{}, season.LeftOut[i].Err
		}
	}
	return taughtBy(ctx, a, site, place, &season, now)
}

// seasonOf reads what outlooks of a site are made from.
func seasonOf(ctx context.Context, a *archive.Archive, site *forecast.Site, place string, now time.Time,
	also ...*archive.Question) archive.Season {
	from, to := forecast.EarlierWinters(now, site.Zone)
	return a.Season(ctx, site.ID, place, archive.Span{From: to, To: now}, archive.Span{From: from, To: to}, also...)
}

// toldBy is what people know of the work by an evening, or by news of a round since; nothing
// where neither is there or can be read: then the plan is free.
func toldBy(evening json.RawMessage, news *ledger.NewRound) forecast.Announced {
	var e forecast.Evening
	if evening == nil || json.Unmarshal(evening, &e) != nil {
		e = forecast.Evening{}
	}
	if news.At.After(e.IssuedAt) {
		return news.Announced
	}
	return e.Announced
}

// Told is what people know of a site's work by the last evening, or by news of a round since.
func Told(ctx context.Context, a *archive.Archive, site *forecast.Site, now time.Time) (forecast.Announced, error) {
	evenings, err := a.Evenings(ctx, site.ID, now.In(site.Zone).AddDate(0, 0, -1).Format(time.DateOnly))
	if err != nil {
		return forecast.Announced{}, err
	}
	news, err := ledger.New(a.DB()).NewRound(ctx, site.ID)
	if err != nil {
		return forecast.Announced{}, err
	}
	var last json.RawMessage
	if n := len(evenings); n > 0 {
		last = evenings[n-1]
	}
	return toldBy(last, &news), nil
}

// taughtBy is Taught, where it is read already how things stand.
func taughtBy(ctx context.Context, a *archive.Archive, site *forecast.Site, place string, season *archive.Season,
	now time.Time) (forecast.Taught, error) {
	if season.Mark == "" { // nothing is there to learn from
		return forecast.Teach(site, nil)
	}
	from, to := forecast.EarlierWinters(now, site.Zone)
	mark := fmt.Sprintf("7 %s %s %x", from.Format(time.DateOnly), season.Mark, groupsMark(site))
	var kept keptTaught
	if found, err := season.Taught(mark, &kept); err == nil && found {
		return kept.taught(), nil
	}
	seasons, evenings, err := a.EarlierSeasons(ctx, site.ID, place, from, to)
	if err != nil {
		return forecast.Taught{}, err
	}
	taught, err := forecast.Teach(site, seasons)
	if err != nil {
		return forecast.Taught{}, err
	}
	if taught.SeesDays, err = seesDays(site, seasons, evenings); err != nil {
		return forecast.Taught{}, err
	}
	return taught, a.PutTaught(ctx, site.ID, mark, keep(&taught))
}

// groupsMark changes with what the records are held against.
func groupsMark(site *forecast.Site) uint64 {
	h := fnv.New64a()
	_, _ = fmt.Fprintf(h, "%+v %v %v", site.Groups, site.Exposure, site.TreeDiameterM) // never fails
	return h.Sum64()
}

// keptTaught is what is kept: temperatures in tenths of a degree, noTenths for a gap.
type keptTaught struct {
	Know    volume.Knowledge  `json:"know"`
	Seasons []int             `json:"seasons_of_groups"`
	BySums  int               `json:"by_sums"`
	LeftOut int               `json:"left_out"`
	Sees    int               `json:"sees_days"`
	Ends    []forecast.SapEnd `json:"ends"`
	Buds    []float64         `json:"buds"`
	Signs   []season.SignYear `json:"signs"`
	First   time.Time         `json:"first"`
	Low     []int16           `json:"low"`
	High    []int16           `json:"high"`
}

const noTenths = math.MinInt16

func keep(t *forecast.Taught) keptTaught {
	tenths := func(c []float64) []int16 {
		out := make([]int16, len(c))
		for i := range c {
			if out[i] = noTenths; !math.IsNaN(c[i]) {
				out[i] = int16(math.Round(10 * c[i]))
			}
		}
		return out
	}
	return keptTaught{t.Know, t.Seasons, t.BySums, t.LeftOut, t.SeesDays, t.Ends, t.Buds, t.Signs, t.Years.First, tenths(t.Years.LowC),
		tenths(t.Years.HighC)}
}

func (k *keptTaught) taught() forecast.Taught {
	degrees := func(tenths []int16) []float64 {
		out := make([]float64, len(tenths))
		for i, x := range tenths {
			if out[i] = math.NaN(); x != noTenths {
				out[i] = float64(x) / 10
			}
		}
		return out
	}
	return forecast.Taught{Know: k.Know, Seasons: k.Seasons, BySums: k.BySums, LeftOut: k.LeftOut, SeesDays: k.Sees, Ends: k.Ends,
		Buds: k.Buds, Signs: k.Signs, Years: weather.Daily{First: k.First, LowC: degrees(k.Low), HighC: degrees(k.High)}}
}
