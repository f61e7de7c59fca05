package source

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/sync/singleflight"

	"thawline/forecast/weather"
)

// Cells asks for many sites: those that lie in one cell of a grid share one
// question and its answer, for as long as it is fresh, also with other programs
// that keep it in the same place. A service that takes several places in one
// question is asked for stale neighbours at once.
type Cells struct {
	Chain *Chain
	Fresh time.Duration // how long an answer stands; 70 min, for a question in the hour before the evening

	cells  map[string]*cell // by site
	row    []*cell          // from west to east, then north
	warm   *lru.Cache[string, warm]
	flight singleflight.Group

	mu     sync.Mutex
	got    map[string]time.Time     // when each cell was got, as far as this program knows
	missed map[string]missed        // cells that no service answered for just now
	flying map[string]chan struct{} // cells that a row asks for just now, until it is closed
}

// missed is what a question came to that no service answered.
type missed struct {
	outcome Outcome
	err     error
	at      time.Time
}

// missedFor is how long a cell's other sites are told the same, so that each does not
// wait for services that hang.
const missedFor = 2 * time.Minute

// Located is a site on the map.
type Located struct {
	ID    string
	Place weather.Place
}

// cellDeg is the size of a cell: about 11 by 8 km in the sugarbush belt, as fine as
// the global models see. What height makes of the rest is reckoned site by site.
const cellDeg = 0.1

// warmCells is how many answers are held unpacked: sites come in the order of
// their cells. An answer with 51 members takes a megabyte.
const warmCells = 64

type cell struct {
	key   string
	place weather.Place // the middle of its sites
	sites int
	at    int // in the row
}

type warm struct {
	outcome Outcome
	got     time.Time
}

// NewCells lays a grid over sites.
func NewCells(chain *Chain, sites []Located) (*Cells, error) {
	c := &Cells{Chain: chain, Fresh: 70 * time.Minute, cells: map[string]*cell{}, got: map[string]time.Time{},
		missed: map[string]missed{}, flying: map[string]chan struct{}{}}
	var err error
	if c.warm, err = lru.New[string, warm](warmCells); err != nil {
		return nil, fmt.Errorf("cells: %w", err)
	}
	byKey := map[string]*cell{}
	for _, s := range sites {
		key := CellOf(s.Place)
		one := byKey[key]
		if one == nil {
			one = &cell{key: key}
			byKey[key] = one
			c.row = append(c.row, one)
		}
		c.cells[s.ID] = one
		one.sites++
		n := float64(one.sites)
		one.place.LatitudeDeg += (s.Place.LatitudeDeg - one.place.LatitudeDeg) / n
		one.place.LongitudeDeg += (s.Place.LongitudeDeg - one.place.LongitudeDeg) / n
		one.place.ElevationM += (s.Place.ElevationM - one.place.ElevationM) / n // NaN where one is not known: the service's own then
	}
	slices.SortFunc(c.row, func(a, b *cell) int { return strings.Compare(a.key, b.key) })
	for i := range c.row {
		c.row[i].at = i
	}
	return c, nil
}

// CellOf names the cell of a place; places that sort next to each other lie near
// each other.
func CellOf(p weather.Place) string {
	return fmt.Sprintf("cell %+05.0f %+06.0f", math.Floor(p.LatitudeDeg/cellDeg), math.Floor(p.LongitudeDeg/cellDeg))
}

// Ask answers for a site that the cells were laid for, as Chain.Ask does; another
// one is asked for alone.
func (c *Cells) Ask(ctx context.Context, siteID string, r Request) (Outcome, error) {
	one := c.cells[siteID]
	if one == nil || len(r.Stations) > 0 {
		return c.Chain.Ask(ctx, siteID, r)
	}
	if w, ok := c.warm.Get(one.key); ok && c.fresh(w.got, r.Now) {
		return aged(w.outcome, r.Now), nil
	}
	if m, ok := c.justMissed(one.key, r.Now); ok {
		return aged(m.outcome, r.Now), m.err
	}
	answer, err, _ := c.flight.Do(one.key, func() (any, error) {
		o, err := c.askCell(ctx, one, r)
		if (err != nil || o.Kept) && !errors.Is(err, context.Canceled) {
			c.mu.Lock()
			defer c.mu.Unlock()
			c.missed[one.key] = missed{o, err, r.Now}
		}
		return o, err
	})
	if err != nil {
		return Outcome{}, err
	}
	return aged(answer.(Outcome), r.Now), nil
}

func (c *Cells) justMissed(key string, now time.Time) (missed, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	m, ok := c.missed[key]
	if ok && (now.Sub(m.at) >= missedFor || now.Before(m.at)) {
		delete(c.missed, key)
		return m, false
	}
	return m, ok
}

// Warnings are those of a site's own place: areas end within a cell.
func (c *Cells) Warnings(ctx context.Context, siteID string, place weather.Place, now time.Time) (weather.Warnings, []Attempt) {
	return c.Chain.Warnings(ctx, siteID, place, now)
}

func (c *Cells) fresh(got, now time.Time) bool { return now.Sub(got) < c.Fresh && !got.After(now) }

func aged(o Outcome, now time.Time) Outcome {
	o.Age = max(now.Sub(o.Bulletin.IssuedAt), 0)
	return o
}

// askCell takes what another program got, or a neighbour's question brings, or asks.
func (c *Cells) askCell(ctx context.Context, one *cell, r Request) (Outcome, error) {
	if o, ok := c.brought(ctx, one, r.Now); ok {
		return o, nil
	}
	r.Place, r.Beside = one.place, c.beside(one, r.Now)
	if b, ok := c.askRow(ctx, one, r); ok {
		return c.hold(one, Outcome{Bulletin: b}, r.Now), nil
	}
	if o, ok := c.brought(ctx, one, r.Now); ok { // begun meanwhile
		return o, nil
	}
	o, err := c.Chain.Ask(ctx, one.key, r)
	if err != nil || o.Kept { // not to be held as if it were fresh
		return o, err
	}
	return c.hold(one, o, r.Now), nil
}

// brought waits for a row that asks for a cell just now, if one does, and takes what that
// or another program has brought; false for nothing that is fresh.
func (c *Cells) brought(ctx context.Context, one *cell, now time.Time) (Outcome, bool) {
	c.mu.Lock()
	flying := c.flying[one.key]
	c.mu.Unlock()
	if flying != nil {
		select {
		case <-flying:
		case <-ctx.Done():
			return Outcome{}, false
		}
	}
	if w, ok := c.warm.Get(one.key); ok && c.fresh(w.got, now) {
		return w.outcome, true
	}
	if c.Chain.Keep == nil {
		return Outcome{}, false
	}
	b, got, err := c.Chain.Keep.Load(ctx, one.key)
	if err != nil || !c.fresh(got, now) || judge(&b, now) != nil {
		return Outcome{}, false
	}
	return c.hold(one, Outcome{Bulletin: b}, got), true
}

// besideDeg is how far away a cell is still close by: 40 km or less.
const besideDeg = 0.35

// beside is what is held of the nearest other cell, nil where none is close by.
func (c *Cells) beside(one *cell, now time.Time) *weather.Bulletin {
	var best *weather.Bulletin
	nearest := besideDeg
	for _, other := range c.row {
		away := math.Hypot(other.place.LatitudeDeg-one.place.LatitudeDeg, other.place.LongitudeDeg-one.place.LongitudeDeg)
		if other == one || away >= nearest {
			continue
		}
		if w, ok := c.warm.Peek(other.key); ok && !w.got.After(now) && now.Sub(w.got) < oldestIssue {
			best, nearest = &w.outcome.Bulletin, away
		}
	}
	return best
}

func (c *Cells) hold(one *cell, o Outcome, got time.Time) Outcome {
	c.warm.Add(one.key, warm{o, got})
	c.mu.Lock()
	defer c.mu.Unlock()
	c.got[one.key] = got
	return o
}

// Batcher is a service that takes several places in one question. An answer may
// lack some: their errors say why.
type Batcher interface {
	Forecaster
	ForecastMany(ctx context.Context, r Request, places []weather.Place) ([]weather.Bulletin, []error, error)
}

// BatchCells is how many are asked for at once: a megabyte each.
const BatchCells = 10

// askRow asks the first service for a cell together with neighbours that are
// stale, and keeps what it says of those. It gives false where the service takes
// one place at a time, or says nothing that can be used of this one.
func (c *Cells) askRow(ctx context.Context, one *cell, r Request) (b weather.Bulletin, ok bool) {
	if len(c.Chain.Forecasters) == 0 {
		return b, false
	}
	service, batches := c.Chain.Forecasters[0].(Batcher)
	if !batches {
		return b, false
	}
	row, landed := c.stale(ctx, one, r.Now)
	defer landed()
	if len(row) < 2 {
		return b, false
	}
	places := make([]weather.Place, len(row))
	for i := range row {
		places[i] = row[i].place
	}
	share := c.Chain.Share
	fill(&share, 20*time.Second)
	asked, cancel := context.WithTimeout(ctx, share)
	bulletins, errs, err := service.ForecastMany(asked, r, places)
	cancel()
	if err != nil {
		return b, false
	}
	for i, each := range row {
		if errs[i] != nil {
			continue
		}
		r.Place, r.Beside = each.place, c.beside(each, r.Now)
		if fault, _ := c.Chain.doubt(ctx, each.key, &bulletins[i], &r); fault != nil {
			continue
		}
		c.Chain.store(ctx, each.key, &bulletins[i], r.Now)
		if i == 0 {
			b, ok = bulletins[0], true
			continue
		}
		c.hold(each, Outcome{Bulletin: bulletins[i]}, r.Now)
	}
	return b, ok
}

// stale is a cell and those that follow it in the row, have no fresh answer and are not
// asked for by another row; none where the cell itself is. They are marked as asked for
// until they have landed.
func (c *Cells) stale(ctx context.Context, one *cell, now time.Time) (out []*cell, landed func()) {
	var others map[string]time.Time
	if c.Chain.Keep != nil {
		others, _ = c.Chain.Keep.gotAfter(ctx, now.Add(-c.Fresh)) // without it some are asked for twice
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.flying[one.key] != nil || c.fresh(c.got[one.key], now) {
		return nil, func() {}
	}
	out = []*cell{one}
	for i := 1; i < len(c.row) && len(out) < BatchCells; i++ {
		next := c.row[(one.at+i)%len(c.row)]
		if !c.fresh(c.got[next.key], now) && !c.fresh(others[next.key], now) && c.flying[next.key] == nil {
			out = append(out, next)
		}
	}
	until := make(chan struct{})
	for _, each := range out {
		c.flying[each.key] = until
	}
	return out, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		for _, each := range out {
			delete(c.flying, each.key)
		}
		close(until)
	}
}
