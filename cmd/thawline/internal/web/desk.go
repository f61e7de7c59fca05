package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/units"
)

// Office is what the desk shows beside members: it comes from the engine and the tables of
// messages and records.
type Office interface {
	Summaries(ctx context.Context, now time.Time) (of map[string]daemon.Summary, unread int, err error)
	QuietPeople(ctx context.Context, now time.Time) ([]daemon.Quiet, error)
	Untold(ctx context.Context, since, now time.Time, most int) (list []ledger.Untold, all int, err error)
	Queues(ctx context.Context, now time.Time) ([]ledger.Queue, error)
	Budgets(ctx context.Context, now time.Time) ([]archive.Budget, error)
	Unanswered(ctx context.Context, before, now time.Time) ([]ledger.Delivery, error)
	Decision(ctx context.Context, id string) (alerts.Decision, time.Time, []ledger.Delivery, error)
	CalledOff(ctx context.Context, d *alerts.Decision, now time.Time) (time.Time, bool)
	InWords(ctx context.Context, w *message.Words, v *ledger.Delivery, decision *alerts.Decision) string
	OddVisits(ctx context.Context, since time.Time, most int) ([]archive.Odd, error)
}

// desk adds the office's pages, for keepers of all bushes.
func (p *Pages) desk(keeper chi.Router) {
	keeper.Get("/desk", p.deskPage)
	with := keeper.With(p.withDesk)
	with.Get("/desk/members", p.members)
	with.Post("/desk/members/import", p.importMembers)
	with.Get("/desk/members/{kind}/{id}", p.member)
	with.Post("/desk/members/{kind}/{id}", p.changeMember)
	with.Get("/desk/log", p.membersLog)
}

type deskBody struct {
	Map        template.HTML
	Shown      string // what part of the map that is
	Counts     []deskCount
	Unread     int
	Zoom       []link
	Rows       []deskRow
	MoreRows   int
	Silent     []silentRow // urgent messages that nobody has answered
	MoreSilent int
	Untold     []untoldRow
	All        int // people untold in all
	MoreUntold int
	Quiet      []quietCount
	Queues     []ledger.Queue
	Services   []serviceRow
	Odd        []oddRow
	Members    bool
}

type deskCount struct {
	Class, Text string
	N           int
}

type deskRow struct{ Href, Name, Class, Verdict, Chance, Place, Age string }

type silentRow struct{ Names, Why, Bush, Text, Until, Href string }

type untoldRow struct{ Name, Bush, Kind, Why, When, Said, Href string }

type quietCount struct {
	Why   string
	N     int
	Names string
}

type serviceRow struct {
	Name, Used, Left string
	Spent            bool
}

type oddRow struct{ Href, Bush, What, When string }

const (
	mostDeskRows = 60
	mostUntold   = 40
	mostQuiet    = 20
	untoldFor    = 36 * time.Hour
	oddFor       = 21 * 24 * time.Hour
)

// deskPage is one look over all bushes and everybody who is told.
func (p *Pages) deskPage(w http.ResponseWriter, r *http.Request) {
	v := p.deskView(w, r)
	if p.Office == nil {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	now, ctx := p.Now(), r.Context()
	b := &deskBody{Members: p.Desk != nil}
	v.Title, v.Body = v.T("desk_title"), b
	if err := p.deskMap(ctx, v, r.URL.Query(), b, now); err != nil {
		p.failed(w, r, err)
		return
	}
	if err := p.deskUntold(ctx, v, b, now); err != nil {
		p.failed(w, r, err)
		return
	}
	if err := p.deskWork(ctx, v, b, now); err != nil {
		p.failed(w, r, err)
		return
	}
	p.send(w, r, http.StatusOK, "desk", v)
}

// window is the part of the earth that a map shows, in degrees.
type window struct{ west, east, south, north float64 }

func (w window) has(lat, lon float64) bool {
	return lat >= w.south && lat <= w.north && lon >= w.west && lon <= w.east
}

// around is a window that holds all places, with some room.
func around(places []deskPlace) window {
	w := window{180, -180, 90, -90}
	for _, p := range places {
		w.west, w.east, w.south, w.north = min(w.west, p.lon), max(w.east, p.lon), min(w.south, p.lat), max(w.north, p.lat)
	}
	const room, least = 0.4, 2.0
	if w.west > w.east {
		return window{-80, -66, 41, 49}
	}
	grow := func(low, high float64) (float64, float64) {
		half := max((high-low)/2+room, least/2)
		return (low+high)/2 - half, (low+high)/2 + half
	}
	w.west, w.east = grow(w.west, w.east)
	w.south, w.north = grow(w.south, w.north)
	return w
}

// deskPlace is a bush on the map: no finer than its people agreed to.
type deskPlace struct {
	site     *forecast.Site
	lat, lon float64
	of       daemon.Summary
	rank     int // of its verdict
}

func (p *Pages) deskMap(ctx context.Context, v *view, query url.Values, b *deskBody, now time.Time) error {
	sites := p.Outlooks.Sites()
	of, unread, err := p.Office.Summaries(ctx, now)
	if err != nil {
		return err
	}
	b.Unread = unread
	places := make([]deskPlace, len(sites))
	counts := map[daemon.Verdict]int{}
	for i := range sites {
		lat, lon := sites[i].ToldPlace()
		places[i] = deskPlace{site: &sites[i], lat: lat, lon: lon, of: of[sites[i].ID]}
		counts[places[i].of.Verdict]++
	}
	for _, verdict := range daemon.Verdicts {
		if n := counts[verdict]; n > 0 {
			b.Counts = append(b.Counts, deskCount{string(verdict), v.T("desk_verdict_" + string(verdict)), n})
		}
	}
	whole := around(places)
	shown, zoom := zoomed(whole, query)
	b.Zoom = zoomLinks(v, whole, shown, zoom)
	var inside []deskPlace
	for _, pl := range places {
		if shown.has(pl.lat, pl.lon) {
			inside = append(inside, pl)
		}
	}
	b.Map = template.HTML(drawMap(v, shown, inside)) // made of numbers, fixed classes and escaped names
	rank := map[daemon.Verdict]int{}
	for i, verdict := range daemon.Verdicts {
		rank[verdict] = i
	}
	for i := range inside {
		if inside[i].rank = rank[inside[i].of.Verdict]; !inside[i].of.OverAt.IsZero() {
			inside[i].rank = -1 // the overview speaks of them
		}
	}
	slices.SortFunc(inside, func(a, c deskPlace) int {
		return cmp.Or(cmp.Compare(a.rank, c.rank), a.of.OverAt.Compare(c.of.OverAt), cmp.Compare(a.site.Name, c.site.Name),
			cmp.Compare(a.site.ID, c.site.ID))
	})
	for _, pl := range inside {
		if len(b.Rows) == mostDeskRows {
			b.MoreRows = len(inside) - mostDeskRows
			break
		}
		row := deskRow{Href: v.Base + "/site/" + url.PathEscape(pl.site.ID) + "/", Name: pl.site.Name, Class: string(pl.of.Verdict),
			Verdict: v.T("desk_verdict_" + string(pl.of.Verdict)), Place: fmt.Sprintf("%.1f, %.1f", pl.lat, pl.lon), Chance: "–"}
		if !pl.of.IssuedAt.IsZero() {
			row.Chance, row.Age = units.Chance(forecast.Shown(pl.of.Chance)), v.words.Age(now.Sub(pl.of.IssuedAt).Hours())
		}
		if at := pl.of.OverAt; !at.IsZero() {
			said := v.T("desk_over", "When", v.Moment(lastMoment(at.In(pl.site.Zone))))
			if at.Before(now) {
				said = v.T("desk_over_by_now")
			}
			row.Verdict += " · " + said
		}
		b.Rows = append(b.Rows, row)
	}
	return nil
}

const mostZoom = 5

// zoomed is the window that an address asks for: halved as often as zoom says, around a
// place.
func zoomed(whole window, query url.Values) (window, int) {
	zoom, _ := strconv.Atoi(query.Get("zoom"))
	zoom = max(0, min(zoom, mostZoom))
	lat, err1 := strconv.ParseFloat(query.Get("lat"), 64)
	lon, err2 := strconv.ParseFloat(query.Get("lon"), 64)
	if err1 != nil || err2 != nil || lat != lat || lon != lon {
		lat, lon = (whole.south+whole.north)/2, (whole.west+whole.east)/2
	}
	part := math.Pow(2, -float64(zoom))
	height, width := (whole.north-whole.south)*part, (whole.east-whole.west)*part
	lat = max(whole.south+height/2, min(lat, whole.north-height/2))
	lon = max(whole.west+width/2, min(lon, whole.east-width/2))
	return window{lon - width/2, lon + width/2, lat - height/2, lat + height/2}, zoom
}

func zoomLinks(v *view, whole, shown window, zoom int) (out []link) {
	lat, lon := (shown.south+shown.north)/2, (shown.west+shown.east)/2
	height, width := shown.north-shown.south, shown.east-shown.west
	add := func(key string, lat, lon float64, zoom int) {
		out = append(out, link{Href: fmt.Sprintf("%s/desk?zoom=%d&lat=%.2f&lon=%.2f#map", v.Base, zoom, lat, lon), Text: v.T(key)})
	}
	if zoom < mostZoom {
		add("desk_nearer", lat, lon, zoom+1)
	}
	if zoom == 0 {
		return out
	}
	add("desk_farther", lat, lon, zoom-1)
	if shown.north < whole.north-0.01 {
		add("desk_north", lat+height/2, lon, zoom)
	}
	if shown.south > whole.south+0.01 {
		add("desk_south", lat-height/2, lon, zoom)
	}
	if shown.west > whole.west+0.01 {
		add("desk_west", lat, lon-width/2, zoom)
	}
	if shown.east < whole.east-0.01 {
		add("desk_east", lat, lon+width/2, zoom)
	}
	return out
}

// mostMarks is how many marks have a link and a name of their own: more are dots.
const mostMarks = 300

// drawMap draws land and marks as SVG, 720 units wide, by the latitude's own width of a
// degree.
func drawMap(v *view, w window, places []deskPlace) string {
	const width = 720.0
	perLon := width / (w.east - w.west)
	perLat := perLon / math.Cos((w.south+w.north)/2*math.Pi/180)
	height := (w.north - w.south) * perLat
	x := func(lon float64) float64 { return (lon - w.west) * perLon }
	y := func(lat float64) float64 { return (w.north - lat) * perLat }
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="deskmap" viewBox="0 0 %.0f %.0f" role="group" aria-label="%s"><path class="land" d="`, width, height,
		template.HTMLEscapeString(v.T("desk_map")))
	for north := math.Ceil(w.north*2) / 2; north > w.south; north -= 0.5 {
		for west := math.Floor(w.west*2) / 2; west < w.east; {
			if !config.Land(north-0.25, west+0.25) {
				west += 0.5
				continue
			}
			east := west + 0.5
			for east < w.east && config.Land(north-0.25, east+0.25) {
				east += 0.5
			}
			fmt.Fprintf(&s, "M%.0f %.0fH%.0fV%.0fH%.0fz", x(west), y(north), x(east), y(north-0.5), x(west))
			west = east
		}
	}
	s.WriteString(`"/>`)
	// Whole degrees, so that a part of the map tells where it is, and how far things are.
	step := 1.0
	for (w.east-w.west)/step > 8 {
		step *= 2
	}
	for lon := math.Ceil(w.west/step) * step; lon < w.east; lon += step {
		fmt.Fprintf(&s, `<path class="grid" d="M%.0f 0V%.0f"/><text x="%.0f" y="%.0f">%.0f°</text>`, x(lon), height, x(lon)+4, height-6, lon)
	}
	for lat := math.Ceil(w.south/step) * step; lat < w.north; lat += step {
		fmt.Fprintf(&s, `<path class="grid" d="M0 %.0fH%.0f"/><text x="4" y="%.0f">%.0f°</text>`, y(lat), width, y(lat)-5, lat)
	}
	for i := len(daemon.Verdicts) - 1; i >= 0; i-- { // what matters most lies on top
		drawMarks(&s, v, daemon.Verdicts[i], places, x, y)
	}
	s.WriteString(`</svg>`)
	return s.String()
}

func drawMarks(s *strings.Builder, v *view, verdict daemon.Verdict, places []deskPlace, x, y func(float64) float64) {
	if len(places) > mostMarks {
		dots := map[[2]int]bool{}
		var d strings.Builder
		for _, p := range places {
			at := [2]int{int(math.Round(x(p.lon))), int(math.Round(y(p.lat)))}
			if p.of.Verdict == verdict && !dots[at] {
				dots[at] = true
				fmt.Fprintf(&d, "M%d %dh0", at[0], at[1])
			}
		}
		if d.Len() > 0 {
			fmt.Fprintf(s, `<path class="dots v-%s" d="%s"/>`, verdict, d.String())
		}
		return
	}
	seen := map[[2]int]int{}
	for _, p := range places {
		if p.of.Verdict != verdict {
			continue
		}
		cx, cy := x(p.lon), y(p.lat)
		// Those whose places are told alike stand around it, so that each can be touched.
		at := [2]int{int(math.Round(cx)), int(math.Round(cy))}
		if n := seen[at]; n > 0 {
			turn := float64(n) * 2.4
			cx, cy = cx+4*math.Sqrt(float64(n))*math.Cos(turn), cy+4*math.Sqrt(float64(n))*math.Sin(turn)
		}
		seen[at]++
		fmt.Fprintf(s, `<a href="%s/site/%s/"><circle class="v-%s" cx="%.0f" cy="%.0f" r="6"><title>%s: %s</title></circle></a>`,
			v.Base, url.PathEscape(p.site.ID), verdict, cx, cy, template.HTMLEscapeString(p.site.Name),
			template.HTMLEscapeString(v.T("desk_verdict_"+string(verdict))))
	}
}

// deskSilent are urgent messages that are still of use and that nobody has answered for ten
// minutes, each once with all who were told, the most pressing first, in the words of who looks. What
// somebody has seen to since, without a word, is not among them.
func (p *Pages) deskSilent(ctx context.Context, v *view, b *deskBody, now time.Time) error {
	list, err := p.Office.Unanswered(ctx, now.Add(-daemon.LeastAnswerTime), now)
	if err != nil || len(list) == 0 {
		return err
	}
	of := map[string][]*ledger.Delivery{} // by decision
	var order []string
	slices.SortStableFunc(list, func(a, c ledger.Delivery) int { return a.Until.Compare(c.Until) })
	for i := range list {
		id := list[i].DecisionID
		if of[id] == nil {
			order = append(order, id)
		}
		of[id] = append(of[id], &list[i])
	}
	names, sites := p.settings.Load().Names, map[string]*forecast.Site{}
	all := p.Outlooks.Sites()
	for i := range all {
		sites[all[i].ID] = &all[i]
	}
	for i, id := range order {
		if len(b.Silent) == mostUntold {
			b.MoreSilent = len(order) - i
			break
		}
		d := of[id][0]
		site := sites[d.Site]
		if site == nil {
			continue // taken out of the settings since
		}
		decision, _, _, err := p.Office.Decision(ctx, id)
		if err != nil && !errors.Is(err, ledger.ErrNone) {
			return err
		}
		if _, off := p.Office.CalledOff(ctx, &decision, now); err != nil || off {
			continue
		}
		row := silentRow{Why: v.T(whySilent(of[id])), Bush: site.Name, Text: p.Office.InWords(ctx, v.words, d, &decision),
			Until: v.T("desk_until_when", "When", v.Moment(lastMoment(d.Until.In(site.Zone)))),
			Href:  v.Base + "/site/" + url.PathEscape(d.Site) + "/"}
		var told []string
		for _, one := range of[id] {
			told = append(told, cmp.Or(names[one.Person], one.Person, "–"))
		}
		slices.Sort(told)
		row.Names = strings.Join(told, ", ")
		b.Silent = append(b.Silent, row)
	}
	return nil
}

// lastMoment is the end of what ends at a moment: at midnight the day before, which nobody takes for
// the end of the next.
func lastMoment(until time.Time) time.Time {
	if until.Hour() == 0 && until.Minute() == 0 {
		return until.Add(-time.Minute)
	}
	return until
}

// whySilent is the word for why nobody has answered: who got it is silent, it reached nobody, or
// nobody there gets messages.
func whySilent(copies []*ledger.Delivery) string {
	switch {
	case slices.ContainsFunc(copies, func(d *ledger.Delivery) bool { return d.State != ledger.Failed }):
		return "desk_silent_no_answer"
	case slices.ContainsFunc(copies, func(d *ledger.Delivery) bool { return !d.Beyond() }):
		return "desk_silent_unreached"
	}
	return "desk_silent_nobody"
}

// deskUntold is who has not been told, and why.
func (p *Pages) deskUntold(ctx context.Context, v *view, b *deskBody, now time.Time) error {
	list, all, err := p.Office.Untold(ctx, now.Add(-untoldFor), now, mostUntold)
	if err != nil {
		return err
	}
	names := p.settings.Load().Names
	bushes := map[string]string{}
	zones := map[string]*time.Location{}
	if len(list) > 0 { // of thousands it takes a while
		for _, s := range p.Outlooks.Sites() {
			bushes[s.ID], zones[s.ID] = s.Name, s.Zone
		}
	}
	if err := p.deskSilent(ctx, v, b, now); err != nil {
		return err
	}
	b.All, b.MoreUntold = all, all-len(list)
	for i := range list {
		u := &list[i]
		zone := zones[u.Site]
		if zone == nil {
			zone = time.UTC
		}
		row := untoldRow{Name: cmp.Or(names[u.Person], u.Person), Bush: cmp.Or(bushes[u.Site], u.Site), Kind: v.T("kind_" + u.Kind),
			Why: v.T("desk_untold_" + string(u.State)), When: v.Moment(u.MadeAt.In(zone)), Said: u.Said}
		if u.More > 0 {
			row.Kind += " " + v.N("desk_untold_more", u.More)
		}
		if p.Desk != nil {
			row.Href = v.Base + memberPath(config.Member, u.Person)
		}
		b.Untold = append(b.Untold, row)
	}
	quiet, err := p.Office.QuietPeople(ctx, now)
	if err != nil {
		return err
	}
	for _, why := range []string{"no_way", "paused", "stopped"} {
		var c quietCount
		var shown []string
		for _, q := range quiet {
			if q.Why != why {
				continue
			}
			if c.N++; len(shown) < mostQuiet {
				shown = append(shown, cmp.Or(q.Name, q.Person))
			}
		}
		if c.N > 0 {
			c.Why = v.N("desk_quiet_"+why, c.N)
			c.Names = strings.Join(shown, ", ")
			if c.N > len(shown) {
				c.Names += " …"
			}
			b.Quiet = append(b.Quiet, c)
		}
	}
	return nil
}

// deskWork is how far the work is: queues, services, and records that look wrong.
func (p *Pages) deskWork(ctx context.Context, v *view, b *deskBody, now time.Time) (err error) {
	if b.Queues, err = p.Office.Queues(ctx, now); err != nil {
		return err
	}
	used, err := p.Office.Budgets(ctx, now)
	if err != nil {
		return err
	}
	for _, s := range used {
		row := serviceRow{Name: v.words.Service(s.Service), Used: strconv.Itoa(int(math.Round(s.Used))), Left: "–"}
		if most := p.settings.Load().PerDay[s.Service]; most > 0 {
			row.Left = strconv.Itoa(int(max(0, most-s.Used)))
			row.Spent = s.Used >= 0.9*most
		}
		b.Services = append(b.Services, row)
	}
	odd, err := p.Office.OddVisits(ctx, now.Add(-oddFor), mostUntold)
	if err != nil {
		return err
	}
	sites := map[string]forecast.Site{}
	if len(odd) > 0 {
		for _, s := range p.Outlooks.Sites() {
			sites[s.ID] = s
		}
	}
	for _, o := range odd {
		s, known := sites[o.Site]
		if !known {
			continue
		}
		row := oddRow{Href: v.Base + "/site/" + url.PathEscape(s.ID) + "/records", Bush: s.Name,
			What: v.T("desk_odd_brix", "Group", o.Group)}
		if at, err := time.Parse(time.RFC3339, o.At); err == nil {
			row.When = v.Moment(at.In(s.Zone))
		}
		if o.LitresATap > 0 && (o.Brix == 0 || o.LitresATap > 12) {
			row.What = v.T("desk_odd_litres", "Group", o.Group) // how many is the bush's own
		}
		b.Odd = append(b.Odd, row)
	}
	return nil
}
