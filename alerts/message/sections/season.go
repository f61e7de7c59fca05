package sections

import (
	"fmt"
	"math"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/maple"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

// Sections of the season page.
const (
	Answer Name = "answer"  // how much is still to come, or whether to tap
	TapsIn Name = "taps_in" // pull, or wait
	TapNow Name = "tap_now" // tap, or wait
	Boring Name = "boring"  // how many holes a stem bears, and cautions
)

// OfSeason is where in the season the site stands, what to do about its taps, and what was
// learnt of its yields.
func OfSeason(o *forecast.Outlook, w *message.Words, system units.System) []Section {
	p := newPage(w, system)
	p.title(o)
	if title, under := SeasonAnswer(o, w); under != "" {
		p.head(Answer, title)
		p.plain(under)
	}
	p.tapsIn(o)
	p.tapNow(o)
	p.boring(o)
	p.yields(o)
	p.offset(&o.Offset)
	return p.sections
}

// SeasonAnswer says in one line what there is to know of a season, and in another its
// figures; "" for both out of season and once it is over.
func SeasonAnswer(o *forecast.Outlook, w *message.Words) (title, under string) {
	s := o.Season.Sap
	if s == nil {
		return "", ""
	}
	p := newPage(w, "")
	until := map[string]any{"From": p.date(o.Season.End.P10), "To": p.date(o.Season.End.P90)}
	if !o.Season.Tapped {
		values := p.litres(s.TotalL, until)
		if o.Season.WorthTapping {
			return w.Say("season_tap", nil), w.Say("season_tap_gives", values)
		}
		return w.Say("season_wait", nil), w.Say("season_tap_gives", values)
	}
	values := p.litres(s.TotalL, until)
	values["SoFar"], _ = w.RoughVolume(s.SoFarL.P50)
	key := "season_figures"
	if !s.Whole {
		key = "season_figures_part"
		values["Since"] = p.date(s.From)
	}
	return w.Say("season_left_"+shareOf(s), nil), w.Say(key, values)
}

// shareOf names how much of a season's sap is still to come.
func shareOf(s *forecast.SeasonSap) string {
	share := 0.0
	if s.SoFarL.P50+s.ToComeL.P50 > 0 {
		share = s.ToComeL.P50 / (s.SoFarL.P50 + s.ToComeL.P50)
	}
	switch {
	case share >= 0.85:
		return "all"
	case share >= 0.6:
		return "most"
	case share >= 0.4:
		return "half"
	case share >= 0.25:
		return "third"
	case share >= 0.08:
		return "little"
	}
	return "none"
}

// litres fills in a range of volumes.
func (p *page) litres(r forecast.Range, values map[string]any) map[string]any {
	if values == nil {
		values = map[string]any{}
	}
	_, values["Unit"] = p.w.RoughVolume(r.P50)
	values["Mid"], values["Low"], values["High"] = p.rough(r.P50), p.rough(r.P10), p.rough(r.P90)
	return values
}

// nameOf is a group's name, with its maples where they are no sugar maples.
func (p *page) nameOf(o *forecast.Outlook, g *forecast.GroupSeason) string {
	name := o.Bush.GroupName(g.Group)
	if g.Species == string(maple.Sugar) {
		return name
	}
	return name + " (" + p.species(g.Species) + ")"
}

// species is a species in the reader's language.
func (p *page) species(name string) string {
	return p.say("species_"+strings.ReplaceAll(strings.TrimSuffix(name, " maple"), " ", "_"), nil)
}

// tapsIn says of each group that is tapped whether to leave its taps in.
func (p *page) tapsIn(o *forecast.Outlook) {
	for i := range o.Season.Groups {
		g := &o.Season.Groups[i]
		if g.Taps == "" {
			continue
		}
		if len(p.sections) == 0 || p.last().Name != TapsIn {
			p.head(TapsIn, p.say("taps_in_title", nil))
		}
		said := []string{p.say("taps_in_"+string(g.Taps), map[string]any{"Group": p.nameOf(o, g)})}
		if o.Season.Sap != nil && g.ToComeL.P90 >= 1 {
			values := p.litres(g.ToComeL, map[string]any{"From": p.date(g.End.P10), "To": p.date(g.End.P90)})
			values["LowSugar"], values["HighSugar"] = p.decimals(g.Brix.P10, 1), p.decimals(g.Brix.P90, 1)
			said = append(said, p.say("taps_in_to_come", values))
		}
		if g.OffChance >= 0.05 {
			said = append(said, p.say("taps_in_off", map[string]any{"Chance": units.Chance(g.OffChance)}))
		}
		if g.HoleDays != nil {
			said = append(said, p.hole(*g.HoleDays, *g.HoleLeft))
		}
		p.item(strings.Join(said, " "))
	}
}

// hole says how old a taphole is and what that costs.
func (p *page) hole(days int, left float64) string {
	if left >= 0.95 {
		return p.w.Plural("taps_in_fresh", days)
	}
	return p.w.PluralWith("taps_in_aged", days, map[string]any{"Left": fmt.Sprintf("%.0f\u00a0%%", 100*left)})
}

// tapNow says of each group that is not tapped what boring now gives against waiting.
func (p *page) tapNow(o *forecast.Outlook) {
	for i := range o.Season.Groups {
		g := &o.Season.Groups[i]
		if len(g.TapWeeks) < 2 || g.TapOn == nil {
			continue
		}
		values := p.litres(g.TapWeeks[1].GainL,
			map[string]any{"Group": p.nameOf(o, g), "On": p.date(g.TapWeeks[1].On), "Best": p.date(*g.TapOn)})
		p.head(TapNow, p.say("tap_now_"+tapNowKey(o, g), values))
		unit := p.w.VolumeUnit()
		rows := [][]Cell{texts(p.say("tap_now_on", nil), p.say("tap_now_season", map[string]any{"Unit": unit}),
			p.say("tap_now_early", map[string]any{"Unit": unit}),
			p.say("tap_now_later", map[string]any{"Unit": unit}), p.say("tap_now_gain", map[string]any{"Unit": unit}))}
		for _, week := range g.TapWeeks {
			rows = append(rows, texts(p.date(week.On), p.roughRange(week.SeasonL), p.rough(week.EarlyL), p.rough(week.LaterL),
				p.roughRange(week.GainL)))
		}
		p.last().Rows = rows
	}
	if len(p.sections) > 0 && p.last().Name == TapNow {
		p.plain(p.say("tap_now_means", nil))
	}
}

// tapNowKey names what is said of boring now: the headline's word, with what waiting costs.
func tapNowKey(o *forecast.Outlook, g *forecast.GroupSeason) string {
	next := &g.TapWeeks[1]
	switch worth := o.Season.WorthTapping || o.Season.Tapped && next.GainL.P50 >= 1; {
	case worth && *g.TapOn != g.TapWeeks[0].On:
		return "soon"
	case worth:
		return "costs"
	case *g.TapOn != g.TapWeeks[0].On:
		return "wait"
	case next.GainL.P90 < 1 || next.EarlyL < 0.01*g.TapWeeks[0].SeasonL.P50:
		return "same"
	}
	return "can_wait"
}

// rough is a volume without its unit, as coarse as it is known; it may be below nothing.
func (p *page) rough(litres float64) string {
	n, _ := p.w.RoughVolume(math.Abs(litres))
	if litres < 0 && n != "0" {
		return "\u2212" + n
	}
	return n
}

func (p *page) roughRange(r forecast.Range) string {
	return p.say("tap_now_range", map[string]any{"Mid": p.rough(r.P50), "Low": p.rough(r.P10), "High": p.rough(r.P90)})
}

// A stem bears so many taps from a width at breast height on, cm, (common practice, the
// careful rule of handbooks); and where the next hole goes.
var tapsByWidth = []struct{ cm, taps int }{{30, 1}, {46, 2}}

const (
	depthCM, thinDepthCM   = 4, 3
	besideCM, aboveCM      = 15, 60
	centimetresPerInch     = 2.54
	girthOfWidth           = 3.14
	firstBoring, lastMonth = time.January, time.April
)

// boring says how many taps a stem bears, how deep and where, and what to mind, while there
// are taps to put in.
func (p *page) boring(o *forecast.Outlook) {
	month := o.IssuedAt.Month()
	if o.Season.Tapped || o.Season.Sap == nil || month < firstBoring || month > lastMonth {
		return
	}
	p.head(Boring, p.say("boring_title", nil))
	rows := [][]Cell{texts(p.say("boring_girth", nil), p.say("boring_width", nil), p.say("boring_taps", nil))}
	for i, step := range tapsByWidth {
		key := "boring_from"
		if i == 0 {
			rows = append(rows, texts(p.say("boring_under", map[string]any{"Length": p.length(girthOfWidth * float64(step.cm))}),
				p.say("boring_under", map[string]any{"Length": p.length(float64(step.cm))}), p.say("boring_none", nil)))
		}
		rows = append(rows, texts(p.say(key, map[string]any{"Length": p.length(girthOfWidth * float64(step.cm))}),
			p.say(key, map[string]any{"Length": p.length(float64(step.cm))}), fmt.Sprint(step.taps)))
	}
	p.last().Rows = rows
	p.plain(p.say("boring_source", nil))
	p.item(p.say("boring_depth", map[string]any{"Deep": p.length(depthCM), "Thin": p.length(thinDepthCM)}))
	p.item(p.say("boring_apart", map[string]any{"Beside": p.length(besideCM), "Above": p.length(aboveCM)}))
	for _, key := range []string{"boring_weak", "boring_thaw", "boring_limbs", "boring_snow"} {
		p.item(p.say(key, nil))
	}
}

// length is centimetres, or inches for those who read US units.
func (p *page) length(cm float64) string {
	if p.system == units.US {
		inches := cm / centimetresPerInch
		if inches < 3 {
			return p.w.Number(fmt.Sprintf("%g", math.Round(2*inches)/2)) + "\u00a0in"
		}
		return fmt.Sprintf("%.0f\u00a0in", inches)
	}
	return fmt.Sprintf("%.0f\u00a0cm", cm)
}

// yields tells what a tap of each group gives, a line each.
func (p *page) yields(o *forecast.Outlook) {
	if len(o.Yields) > 0 {
		p.head(Yields, p.say("yield_title", nil))
	}
	for i := range o.Yields {
		y := &o.Yields[i]
		if len(y.Steps) == 0 {
			continue
		}
		s := &y.Steps[len(y.Steps)-1]
		volume := func(l float64) string { n, _ := p.w.Volume(l); return n }
		mid, unit := p.w.Volume(s.SeasonLTap.P50)
		values := map[string]any{"Low": volume(s.SeasonLTap.P10), "Mid": mid, "High": volume(s.SeasonLTap.P90), "Unit": unit}
		var said string
		switch {
		case s.After > 0 && len(o.Yields) > 1:
			said = p.w.PluralWith("yield_after_all", s.After, values)
		case s.After > 0:
			said = p.w.PluralWith("yield_after", s.After, values)
		case y.EarlierSeasons > 0:
			said = p.w.PluralWith("yield_earlier", y.EarlierSeasons, values)
		default:
			said = p.say("yield_before", values)
		}
		p.item(p.say("yield_group", map[string]any{"Group": o.Bush.GroupName(y.Group)}) + " " + said)
	}
	if o.Earlier.BySums > 0 {
		p.plain(p.w.Plural("yield_by_sums", o.Earlier.BySums))
	}
	if o.Earlier.LeftOut > 0 {
		p.plain(p.w.Plural("yield_left_out", o.Earlier.LeftOut))
	}
}

// SeasonWords are the words of the season's picture.
func SeasonWords(o *forecast.Outlook, w *message.Words, system units.System) *chart.SeasonWords {
	p := newPage(w, system)
	s := &o.Season
	gave := func(year int, litres float64) string {
		n, unit := w.RoughVolume(litres)
		return w.Say("chart_season_year", map[string]any{"Year": fmt.Sprint(year), "Volume": n, "Unit": unit})
	}
	out := &chart.SeasonWords{
		Sap: w.Say("chart_season_sap", map[string]any{"Unit": w.VolumeUnit()}), Today: w.Say("chart_today", nil),
		Good:     w.Say("chart_season_good", nil),
		GoodEnds: w.Say("chart_season_ends", map[string]any{"From": p.date(s.End.P10), "To": p.date(s.End.P90)}),
		Off:      w.Say("chart_season_off", nil), OffFrom: w.Say("chart_season_off_from", map[string]any{"From": p.date(s.End.P10)}),
		HeatFactor: 1, Gave: gave,
	}
	degree, base := "°C", season.WarmthAboveC
	if system == units.US {
		out.HeatFactor, degree, base = 1.8, "°F", units.CToF(season.WarmthAboveC)
	}
	if b := s.Buds; b != nil {
		out.Buds = w.Say("chart_season_buds", map[string]any{"Species": p.species(b.Species)})
		out.BudsOpen = w.Say("chart_season_buds_open", map[string]any{"From": p.date(b.P10), "To": p.date(b.P90)})
	}
	if h := s.Warmth; h != nil {
		out.Heat = w.Say("chart_season_heat", map[string]any{"Unit": degree, "Base": p.w.Number(fmt.Sprintf("%.0f", base))})
		out.HeatNow = w.Say("chart_season_heat_now", map[string]any{"Sum": fmt.Sprintf("%.0f", out.HeatFactor*h.SoFar)})
		out.Turns = w.Say("chart_season_turns", map[string]any{"Sum": fmt.Sprintf("%.0f", out.HeatFactor*h.TurnsAt.P50)})
	}
	return out
}
