package web

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"thawline/cmd/thawline/internal/lookback"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/parallel"
	"thawline/forecast/season"
)

// pastSeasons are seasons that were worked out lately. One is worked out anew
// when its records or its weather have changed.
type pastSeasons struct {
	mu    sync.Mutex
	kept  map[string]pastSeason
	uses  int
	marks map[string]seasonMarks
}

// seasonMarks are those of seasons as they were under a brief mark.
type seasonMarks struct {
	brief string
	marks []string
}

type pastSeason struct {
	mark string
	past *forecast.Past
	used int // the higher, the later
}

// mostPast is how many seasons are kept at hand: some of a few bushes, thirty of one in two forms.
const mostPast = 80

func (s *pastSeasons) find(key, mark string) (*forecast.Past, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	one, found := s.kept[key]
	if !found || one.mark != mark {
		return nil, false
	}
	s.uses++
	one.used = s.uses
	s.kept[key] = one
	return one.past, true
}

// keep keeps a season, and lets go of the one that nobody has looked at for longest.
func (s *pastSeasons) keep(key, mark string, past *forecast.Past) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil {
		s.kept = map[string]pastSeason{}
	}
	s.uses++
	s.kept[key] = pastSeason{mark, past, s.uses}
	if len(s.kept) <= mostPast {
		return
	}
	oldest := key
	for k, one := range s.kept {
		if one.used < s.kept[oldest].used {
			oldest = k
		}
	}
	delete(s.kept, oldest)
}

// seasonSpan is from the first of November to the end of June, or to now.
func (p *Pages) seasonSpan(year int, zone *time.Location) (from, to time.Time) {
	return lookback.Span(year, zone, p.Now())
}

// seasonMarks change, each, with what a season is worked out from.
func (p *Pages) seasonMarks(ctx context.Context, site *forecast.Site, years ...int) ([]string, error) {
	h := fnv.New64a()
	bush := *site
	bush.Zone = nil // a pointer, told by its name
	place := p.PlaceKey(site)
	_, _ = fmt.Fprintf(h, "%s %s %s %s %+v", pastForm, p.Version, place, site.Zone, bush)
	// What is asked first is known by what is asked after it: never the other way round.
	brief, err := p.Records.BriefMark(ctx, site.ID, place)
	if err != nil {
		return nil, err
	}
	brief += fmt.Sprintf(" %d %x", p.Now().Unix()/3600, h.Sum64())
	key := site.ID + " " + fmt.Sprint(years)
	p.past.mu.Lock()
	known, found := p.past.marks[key]
	p.past.mu.Unlock()
	if found && known.brief == brief {
		return known.marks, nil
	}
	marks, err := p.seasonMarksAnew(ctx, site, h.Sum64(), years)
	if err != nil {
		return nil, err
	}
	p.past.mu.Lock()
	defer p.past.mu.Unlock()
	if p.past.marks == nil || len(p.past.marks) >= mostPast {
		p.past.marks = map[string]seasonMarks{}
	}
	p.past.marks[key] = seasonMarks{brief, marks}
	return marks, nil
}

func (p *Pages) seasonMarksAnew(ctx context.Context, site *forecast.Site, of uint64, years []int) ([]string, error) {
	spans := make([]archive.Span, len(years))
	for i, y := range years {
		spans[i].From, spans[i].To = p.seasonSpan(y, site.Zone)
		spans[i].To = spans[i].To.Add(lookback.LateVisit)
	}
	marks, err := p.Records.SeasonMarks(ctx, site.ID, p.PlaceKey(site), spans...)
	if err != nil {
		return nil, err
	}
	for i := range marks {
		marks[i] += fmt.Sprintf(" %d %x", spans[i].To.Unix()/3600, of)
	}
	return marks, nil
}

// seasonOf works out what a season gave; nil where no weather of it is kept.
func (p *Pages) seasonOf(ctx context.Context, site *forecast.Site, year int) (*forecast.Past, error) {
	if from, to := p.seasonSpan(year, site.Zone); !to.After(from) {
		return nil, nil
	}
	marks, err := p.seasonMarks(ctx, site, year)
	if err != nil {
		return nil, err
	}
	key := site.ID + " " + strconv.Itoa(year)
	if past, found := p.past.find(key, marks[0]); found {
		return past, nil
	}
	past, err := p.lookBack(ctx, site, year, false)
	if err == nil {
		p.past.keep(key, marks[0], past)
	}
	return past, err
}

// daysOf are what the days of several seasons gave, by year: without their visits; and the
// mark of all of it, which changes with any of it. What is worked out of seasons that are
// over is kept in the database, so that none is worked out anew after a start.
func (p *Pages) daysOf(ctx context.Context, site *forecast.Site, years []int) (past map[int]*forecast.Past, mark string,
	err error) {
	marks, err := p.seasonMarks(ctx, site, years...)
	if err != nil {
		return nil, "", err
	}
	mark = strings.Join(marks, "|")
	past = map[int]*forecast.Past{}
	var lack []int // places in years
	for i, y := range years {
		key := site.ID + " " + strconv.Itoa(y)
		one, found := p.past.find(key, marks[i])
		if !found {
			one, found = p.past.find(key+" days", marks[i])
		}
		if past[y] = one; !found {
			lack = append(lack, i)
		}
	}
	if len(lack) == 0 {
		return past, mark, nil
	}
	kept := map[int]keptSeason{}
	if err := p.Records.PastDays(ctx, site.ID, &kept); err != nil {
		p.Log.Warn("past seasons are worked out anew", "site", site.ID, "error", err)
		clear(kept)
	}
	var anew []int // places in years
	for _, i := range lack {
		if one, found := kept[years[i]]; found && one.Mark == marks[i] {
			past[years[i]] = one.past()
		} else {
			anew = append(anew, i)
		}
	}
	made, errs := make([]*forecast.Past, len(anew)), make([]error, len(anew))
	parallel.Each(len(anew), func(_, i int) { made[i], errs[i] = p.lookBack(ctx, site, years[anew[i]], true) })
	if err := errors.Join(errs...); err != nil {
		return nil, "", err
	}
	for i, at := range anew {
		past[years[at]] = made[i]
	}
	for _, i := range lack {
		p.past.keep(site.ID+" "+strconv.Itoa(years[i])+" days", marks[i], past[years[i]])
	}
	p.keepDays(ctx, site, years, marks, past, anew)
	return past, mark, nil
}

// keepDays keeps seasons that are over where some of them were worked out anew, at places in years.
// Without it they are worked out again after the next start.
func (p *Pages) keepDays(ctx context.Context, site *forecast.Site, years []int, marks []string, past map[int]*forecast.Past, anew []int) {
	over := func(year int) bool { return past[year] != nil && !lookback.Over(year, site.Zone).After(p.Now()) }
	if !slices.ContainsFunc(anew, func(i int) bool { return over(years[i]) }) {
		return
	}
	kept := map[int]keptSeason{}
	for i, y := range years {
		if over(y) {
			kept[y] = keepSeason(marks[i], past[y])
		}
	}
	if err := p.Records.PutPastDays(ctx, site.ID, kept); err != nil {
		p.Log.Warn("past seasons are not kept", "site", site.ID, "error", err)
	}
}

// lookBack works out a season from what is kept; nil where no weather of it is.
func (p *Pages) lookBack(ctx context.Context, site *forecast.Site, year int, daysOnly bool) (*forecast.Past, error) {
	from, to := p.seasonSpan(year, site.Zone)
	if !to.After(from) {
		return nil, nil
	}
	in, known, err := lookback.Inputs(ctx, p.Past, site, p.PlaceKey(site), from, to)
	if err != nil || !known {
		return nil, err
	}
	in.DaysOnly = daysOnly
	past, err := forecast.LookBack(in)
	return &past, err
}

// years are the springs of which weather is kept, the newest first.
func (p *Pages) years(ctx context.Context, site *forecast.Site) ([]int, error) {
	first, last, err := p.Records.HoursKept(ctx, p.PlaceKey(site))
	if err != nil || first.IsZero() {
		return nil, err
	}
	var out []int
	for y := season.WinterStart(last, site.Zone).Year() + 1; y >= season.WinterStart(first, site.Zone).Year()+1; y-- {
		out = append(out, y)
	}
	return out, nil
}
