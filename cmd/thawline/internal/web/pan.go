package web

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// panState is what stands in the address of the page at the pan: nothing is kept on this
// side, so that the page goes on without signal.
type panState struct {
	given    url.Values // what the form says of pan and thermometer, as it was typed
	WaterC   float64    // by the thermometer there, NaN where nobody tried
	RateLH   float64
	SyrupL   float64
	Learnt   bool // the rate was measured, or learnt from boils in the book
	Readings []boil.Reading
}

// finishingNow is the pan in which syrup is finished, as it is now: the last; nil where the
// outlook is of an earlier program, or nobody has described a pan.
func finishingNow(house *forecast.Boiling, o *forecast.Outlook) *forecast.PanNow {
	described := len(house.Row) > 0 || house.FinishM2 > 0 || house.Pan.AreaM2 > 0
	if n := len(o.House.Pans); n > 0 && described {
		return &o.House.Pans[n-1]
	}
	return nil
}

type panBody struct {
	Verdict, More string
	Stay          string
	Loud, Faint   bool
	Readings      []string
	Degrees       string // the unit of temperatures
	Water         string
	Rate, Syrup   string
	Hidden        []string // readings so far, for the form
	Facts         string   // what the script must know
	Zone          string
	Row           [][]string // several pans: what each comes to, and what is moved on
	RowSays       []string
}

// pan is the page beside the steam: readings in, minutes to draw-off out. The script does
// the same sums where there is no signal.
func (p *Pages) pan(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	o := p.current(r.Context(), v)
	if o == nil {
		p.send(w, r, http.StatusOK, "pan", v)
		return
	}
	now := p.Now()
	state, added, err := readPan(v, o, r.URL.Query(), now)
	if err != nil {
		v.Wrong = v.T("pan_wrong", "Why", v.words.Phrase(err.Error()))
	} else if added { // so that loading it again adds nothing
		http.Redirect(w, r, v.At("/pan?"+state.query().Encode()), http.StatusSeeOther)
		return
	}
	v.Body = panOf(v, o, state, now)
	p.send(w, r, http.StatusOK, "pan", v)
}

// usualPan is what is taken of a site's last pan where nobody says otherwise.
func usualPan(site *forecast.Site, o *forecast.Outlook) panState {
	s := panState{WaterC: math.NaN(), SyrupL: 4, given: url.Values{}}
	pan := site.Boiling.Finishing()
	s.RateLH = pan.Rate()
	if len(o.Boil) > 0 && o.Boil[0].SyrupL > 0 {
		s.SyrupL = o.Boil[0].SyrupL
	}
	if last := finishingNow(&site.Boiling, o); last != nil && last.RateLH > 0 {
		s.RateLH, s.Learnt = last.RateLH, last.Learnt
		if len(o.House.Pans) > 1 { // what is in it is what comes of the row, at most
			s.SyrupL = last.HoldsL
		}
	}
	return s
}

// readPan reads the address: what was read before, and what the form adds.
func readPan(v *view, o *forecast.Outlook, q url.Values, now time.Time) (s panState, added bool, err error) {
	s = usualPan(v.Site, o)
	for _, name := range []string{"water", "rate", "syrup"} {
		if q.Get(name) != "" {
			s.given.Set(name, q.Get(name))
		}
	}
	number := func(name string) float64 {
		text := strings.ReplaceAll(strings.TrimSpace(q.Get(name)), ",", ".")
		if text == "" {
			return math.NaN()
		}
		x, fault := strconv.ParseFloat(text, 64)
		if fault != nil && err == nil {
			err = fmt.Errorf("%q", q.Get(name))
		}
		return x
	}
	for _, text := range q["r"] {
		if one, ok := parseReading(text); ok && len(s.Readings) < 60 {
			s.Readings = append(s.Readings, one)
		}
	}
	if x := number("water"); !math.IsNaN(x) {
		s.WaterC = celsius(v, x)
	}
	if x := number("rate"); x > 0 {
		s.RateLH = litres(v, x)
	}
	if x := number("syrup"); x > 0 {
		s.SyrupL = litres(v, x)
	}
	one := boil.Reading{At: now.Truncate(time.Second), TempC: celsius(v, number("temp")), Brix: number("float"),
		Changed: boil.Change(q.Get("changed"))}
	if at := number("cup"); !math.IsNaN(one.Brix) && !math.IsNaN(at) {
		one.Brix = boil.BrixOfFloat(one.Brix, celsius(v, at))
	}
	if err == nil && (!math.IsNaN(one.TempC) || !math.IsNaN(one.Brix)) {
		try := s
		try.Readings = append(append([]boil.Reading{}, s.Readings...), one)
		if _, err = try.countdown(v, o, now); err == nil {
			return try, true, nil
		}
	}
	return s, false, err
}

// parseReading reads seconds since 1970, °C, °Brix and what was done, as query writes them.
func parseReading(text string) (boil.Reading, bool) {
	part := strings.Split(text, "_")
	if len(part) != 4 {
		return boil.Reading{}, false
	}
	at, err := strconv.ParseInt(part[0], 10, 64)
	if err != nil {
		return boil.Reading{}, false
	}
	read := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return math.NaN()
		}
		return x
	}
	return boil.Reading{At: time.Unix(at, 0), TempC: read(part[1]), Brix: read(part[2]), Changed: boil.Change(part[3])}, true
}

func writeReading(r boil.Reading) string {
	write := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return strconv.FormatFloat(x, 'f', 2, 64)
	}
	return fmt.Sprintf("%d_%s_%s_%s", r.At.Unix(), write(r.TempC), write(r.Brix), r.Changed)
}

// query is the state as an address holds it: readings in °C, the rest as it was typed.
func (s panState) query() url.Values {
	q := maps.Clone(s.given)
	for _, r := range s.Readings {
		q.Add("r", writeReading(r))
	}
	return q
}

func celsius(v *view, x float64) float64 {
	if v.system == units.US {
		return (x - 32) / 1.8
	}
	return x
}

// litres of what a form says in the reader's unit.
func litres(v *view, x float64) float64 { return x * litresEach(v) }

func litresEach(v *view) float64 {
	in, _ := units.VolumeIn(1, v.system)
	return 1 / in
}

// pressureNow is the air pressure of the hour, by the outlook.
func pressureNow(o *forecast.Outlook, now time.Time) float64 {
	if len(o.Boil) == 0 {
		return 1000
	}
	nearest, off := o.Boil[0].PressureHPa, 90*time.Minute
	for i := range o.Boil {
		for _, h := range o.Boil[i].ByHour {
			if d := h.Time.Sub(now).Abs(); d < off {
				nearest, off = boil.SaturationHPa(h.BoilingPointC), d
			}
		}
	}
	return nearest
}

// countdown asks the clock.
func (s panState) countdown(v *view, o *forecast.Outlook, now time.Time) (boil.Countdown, error) {
	w, err := s.watch(v, o, now)
	if err != nil {
		return boil.Countdown{}, err
	}
	return w.At(s.Readings, now)
}

func (s panState) watch(v *view, o *forecast.Outlook, now time.Time) (*boil.Watch, error) {
	f := boil.FinishIn(s.RateLH, s.SyrupL, syrupOf(v), pressureNow(o, now), s.Learnt)
	f.WaterC = s.WaterC
	if v.system != units.US {
		f.MarkC = 0.5
	}
	return boil.Begin(f)
}

func panOf(v *view, o *forecast.Outlook, s panState, now time.Time) *panBody {
	b := &panBody{Degrees: "°C", Verdict: v.T("pan_none"), Zone: v.Site.Zone.String()}
	if v.system == units.US {
		b.Degrees = "°F"
	}
	fine := func(c float64) string { return v.words.Number(units.FineTemperature(c, v.system)) }
	if !math.IsNaN(s.WaterC) {
		b.Water = strings.TrimSuffix(fine(s.WaterC), " "+b.Degrees)
	}
	b.Rate, b.Syrup = v.words.Number(fmt.Sprintf("%.1f", s.RateLH/litresEach(v))),
		v.words.Number(fmt.Sprintf("%.1f", s.SyrupL/litresEach(v)))
	for _, r := range s.Readings {
		line := v.words.Clock(r.At.In(v.Site.Zone))
		if !math.IsNaN(r.TempC) {
			line += " · " + fine(r.TempC)
		}
		if !math.IsNaN(r.Brix) {
			line += " · " + v.words.Number(fmt.Sprintf("%.1f °Brix", r.Brix))
		}
		if r.Changed != boil.Unchanged {
			line += " · " + v.T("pan_"+string(r.Changed))
		}
		b.Readings = append(b.Readings, line)
		b.Hidden = append(b.Hidden, writeReading(r))
	}
	b.row(v, o, now)
	w, err := s.watch(v, o, now)
	if err != nil {
		v.Wrong = v.T("pan_wrong", "Why", v.words.Phrase(err.Error()))
		return b
	}
	b.More = v.T("pan_at", "DrawOff", fine(w.DrawOffC()))
	if facts, err := json.Marshal(w.Facts()); err == nil {
		b.Facts = string(facts)
	}
	if len(s.Readings) == 0 {
		return b
	}
	c, err := w.At(s.Readings, now)
	if err != nil {
		v.Wrong = v.T("pan_wrong", "Why", v.words.Phrase(err.Error()))
		return b
	}
	b.say(v, c)
	return b
}

// row says of several pans what each comes to, when syrup is moved on, and what has to stay
// in them.
func (b *panBody) row(v *view, o *forecast.Outlook, now time.Time) {
	house := &v.Site.Boiling
	if n := o.House.Watchers; n > 1 {
		b.RowSays = append(b.RowSays, v.N("row_watchers", n, "Pans", house.Pans()))
	}
	row := slices.Clone(house.Row)
	for i := range row {
		for _, p := range o.House.Pans {
			if p.ID == row[i].ID && p.RateLH > 0 {
				row[i].RateLH = p.RateLH
			}
		}
	}
	if len(row) == 0 || len(o.Boil) == 0 {
		return
	}
	to := syrupOf(v)
	apart := house.FinishM2 > 0
	if apart {
		to = boil.MoveOnBrix
	}
	f := row.Steady(o.Boil[0].Brix, to, pressureNow(o, now))
	b.Row = [][]string{{v.T("row_pan"), v.T("row_sugar"), v.T("row_boils"), v.T("row_moves"), v.T("row_stays")}}
	for _, p := range f.Pans {
		b.Row = append(b.Row, []string{p.ID, v.words.Number(fmt.Sprintf("%.0f °Brix", p.Brix)),
			v.words.Number(units.FineTemperature(p.BoilsC, v.system)), v.Volume(p.MoveOnL), v.Volume(p.HoldL)})
	}
	minutes := strconv.Itoa(int(math.Round(f.EveryMin)))
	draws := v.Volume(f.Pans[len(f.Pans)-1].MoveOnL)
	if apart {
		b.RowSays = append(b.RowSays, v.T("row_apart", "Minutes", minutes, "Volume", draws))
	} else {
		b.RowSays = append(b.RowSays, v.T("row_draws", "Minutes", minutes, "Volume", draws))
	}
	b.RowSays = append(b.RowSays, v.T("row_hold", "Volume", v.Volume(o.House.HoldBackL)))
	if o.House.SyrupLost >= 0.01 {
		b.RowSays = append(b.RowSays, v.T("row_lost", "Percent", int(math.Round(100*o.House.SyrupLost))))
	}
}

func syrupOf(v *view) float64 {
	if b := v.Site.Boiling.SyrupBrix; b > 0 {
		return b
	}
	return boil.SyrupBrix
}

// longMin is from where on minutes are no help.
const longMin = 120

// say puts a countdown into words, in whole minutes.
func (b *panBody) say(v *view, c boil.Countdown) {
	early, likely, late := math.Floor(c.Early), math.Round(c.Likely), math.Ceil(c.Late)
	whole := func(x float64) string { return strconv.Itoa(int(x)) }
	switch {
	case c.TestNow:
		b.Verdict, b.Loud = v.T("pan_test"), true
	case c.Thin:
		b.Verdict = v.T("pan_thin")
	case late > longMin:
		b.Verdict = v.T("pan_long", "Early", whole(early))
	default:
		b.Verdict = v.T("pan_in", "Early", whole(early), "Late", whole(late), "Likely", whole(likely))
	}
	if c.Old { // also a call: who has not looked for ten minutes looks first
		b.Faint, b.Verdict = !c.TestNow, v.T("pan_old")
	}
	b.Stay = v.T("pan_stay", "Minutes", whole(max(late-likely, likely-early, 1)))
	if late > longMin {
		b.Stay = v.T("pan_stay_long")
	}
}
