package web

import (
	"context"
	"net/http"
	"strconv"
	"sync"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/lookback"
	"thawline/forecast"
)

type reviewBody struct {
	Years []link
	Parts []sections.Section
}

// review is why the evenings of a season were off, and what one thing more would have
// changed.
func (p *Pages) review(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/review")
	if v == nil {
		return
	}
	year := seasonYear(p.Now(), v.Site.Zone)
	if asked, err := strconv.Atoi(r.URL.Query().Get("season")); err == nil {
		year = asked
	}
	years, err := p.years(r.Context(), v.Site)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b := &reviewBody{}
	for _, y := range years {
		b.Years = append(b.Years, link{Href: v.At("/review?season=" + strconv.Itoa(y)), Text: strconv.Itoa(y), Here: y == year})
	}
	one, err := p.reviewOf(r.Context(), v.Site, year)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.Parts = sections.OfReview(&one, v.Site, v.words, v.system)
	v.Body = b
	p.send(w, r, http.StatusOK, "review", v)
}

// reviews are those that were worked out last, one of a site: they take half a second.
type reviews struct {
	mu   sync.Mutex
	kept map[string]keptReview
}

type keptReview struct {
	mark string
	is   sections.Reviewed
}

// reviewOf works out a season's review, or takes it from memory while its records and its
// weather are as they were.
func (p *Pages) reviewOf(ctx context.Context, site *forecast.Site, year int) (sections.Reviewed, error) {
	marks, err := p.seasonMarks(ctx, site, year)
	if err != nil {
		return sections.Reviewed{}, err
	}
	mark := strconv.Itoa(year) + " " + marks[0]
	p.reviews.mu.Lock()
	defer p.reviews.mu.Unlock() // one at a time: it is much work
	if kept, found := p.reviews.kept[site.ID]; found && kept.mark == mark {
		return kept.is, nil
	}
	one, err := lookback.Review(ctx, p.Past, p.Taught, site, p.PlaceKey(site), year, p.Now())
	if err != nil {
		return one, err
	}
	if p.reviews.kept == nil || len(p.reviews.kept) >= mostPast {
		p.reviews.kept = map[string]keptReview{}
	}
	p.reviews.kept[site.ID] = keptReview{mark, one}
	return one, nil
}
