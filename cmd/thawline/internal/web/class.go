package web

import (
	"math"
	"net/http"
	"strconv"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

type classBody struct {
	Now     []string // what the trees do
	Asked   string   // the question about tomorrow
	Day     string   // local date that it is about
	May     bool     // write the class's hands down
	Guessed string   // what the class said of tomorrow, "" before
	Ours    []string // what we and the plain rule say, only after the class
	Came    bool     // somebody may say whether it dripped today
	Key     string
	Scores  [][]string
	Sum     string
}

// class is the page for children: what the trees do now, their own guess before ours, and
// how both came out. Nobody is named.
func (p *Pages) class(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	o := p.current(r.Context(), v)
	if o == nil {
		p.send(w, r, http.StatusOK, "class", v)
		return
	}
	now := p.Now().In(v.Site.Zone)
	b := &classBody{May: v.May("crew"), Key: strconv.FormatInt(now.UnixNano(), 36)}
	b.treesNow(v, o, now)
	b.Day = now.AddDate(0, 0, 1).Format(time.DateOnly)
	b.Asked = v.T("kids_ask", "Day", v.words.Weekday(now.AddDate(0, 0, 1)))
	guesses, err := p.Intake.Archive.Guesses(r.Context(), v.Site.ID, now.AddDate(-1, 0, 0).Format(time.DateOnly))
	if err != nil {
		p.failed(w, r, err)
		return
	}
	seen, err := p.Intake.Archive.Observations(r.Context(), v.Site.ID, now.AddDate(-1, 0, 0), v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	came := map[string]bool{}
	for i := range seen {
		switch seen[i].Kind {
		case records.Dripping:
			came[seen[i].Day] = true
		case records.NotDripping:
			if _, known := came[seen[i].Day]; !known {
				came[seen[i].Day] = false
			}
		}
	}
	b.scored(v, guesses, came, now.Format(time.DateOnly))
	v.Body = b
	p.send(w, r, http.StatusOK, "class", v)
}

// treesNow is what the trees do, in words for children.
func (b *classBody) treesNow(v *view, o *forecast.Outlook, now time.Time) {
	i := int(now.Sub(o.Hours.Start) / time.Hour)
	h := &o.Hours
	if i < 0 || i >= len(h.TemperatureC.P50) || i >= len(h.FlowLH.P50) {
		b.Now = []string{v.T("kids_unknown")}
		return
	}
	warm := h.TemperatureC.P50[i]
	ice := 0.0
	if i < len(h.WoodIce) {
		ice = h.WoodIce[i]
	}
	switch {
	case h.FlowLH.P50[i] >= forecast.DrippingLH*float64(v.Site.Taps()):
		b.Now = append(b.Now, v.T("kids_drips"))
	case ice > 0.2:
		b.Now = append(b.Now, v.T("kids_frozen"))
	default:
		b.Now = append(b.Now, v.T("kids_rests"))
	}
	b.Now = append(b.Now, v.T("kids_air", "Degrees", units.Temperature(warm, v.system)))
	b.Now = append(b.Now, v.T("kids_why"))
}

// plainRule is the rule that children learn: frost by night, thaw by day.
func plainRule(o *forecast.Outlook, date string) (rule bool, ours float64, known bool) {
	for i := range o.Days {
		if d := &o.Days[i]; d.Date == date {
			return d.TemperatureC.Min < -1.1 && d.TemperatureC.Max > 2.2, d.RunProbability, true
		}
	}
	return false, 0, false
}

// scored fills in guesses: of tomorrow what all say, of days past who was right.
func (b *classBody) scored(v *view, guesses []records.ClassGuess, came map[string]bool, today string) {
	b.Scores = [][]string{{v.T("kids_day"), v.T("kids_class"), v.T("kids_ours"), v.T("kids_rule"), v.T("kids_came")}}
	sums, n := [3]float64{}, 0.0
	for i := range guesses {
		g := &guesses[i]
		share := float64(g.Yes) / float64(g.Yes+g.No)
		if g.Day == b.Day {
			b.Guessed = v.T("kids_guessed", "Yes", g.Yes, "All", g.Yes+g.No)
			rule := v.T("kids_rule_no")
			if g.Rule {
				rule = v.T("kids_rule_yes")
			}
			b.Ours = []string{v.T("kids_we_say", "InTen", units.InTen(g.Ours)), rule}
			continue
		}
		dripped, known := came[g.Day]
		if !known {
			b.Came = b.Came || g.Day == today
			continue
		}
		x := 0.0
		if dripped {
			x = 1
		}
		rule := 0.0
		if g.Rule {
			rule = 1
		}
		points := func(p float64) float64 { return math.Round(10 * (1 - (p-x)*(p-x))) }
		says := v.T("kids_no")
		if dripped {
			says = v.T("kids_yes")
		}
		row := []string{v.dateOf(g.Day)}
		for k, p := range []float64{share, g.Ours, rule} {
			sums[k] += points(p)
			row = append(row, strconv.Itoa(int(points(p))))
		}
		n++
		b.Scores = append(b.Scores, append(row, says))
	}
	if n > 0 {
		b.Sum = v.T("kids_sum", "Class", int(sums[0]), "Ours", int(sums[1]), "Rule", int(sums[2]))
	}
}

// guess takes a class's hands, before ours is shown.
func (p *Pages) guess(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	hands := func(name string) int {
		n, err := strconv.Atoi(r.PostFormValue(name))
		if err != nil || n < 0 || n > 200 {
			return -1
		}
		return n
	}
	yes, no := hands("yes"), hands("no")
	o := p.current(r.Context(), v)
	day := p.Now().In(v.Site.Zone).AddDate(0, 0, 1).Format(time.DateOnly)
	if yes < 0 || no < 0 || yes+no == 0 || o == nil {
		v.Title, v.Body = v.T("fault_title"), v.T("kids_wrong")
		p.send(w, r, http.StatusUnprocessableEntity, "fault", v)
		return
	}
	rule, ours, known := plainRule(o, day)
	if !known {
		p.fault(w, r, http.StatusUnprocessableEntity, "page_none")
		return
	}
	before, err := p.Intake.Archive.Guesses(r.Context(), v.Site.ID, day)
	if err == nil && len(before) == 0 { // once a day: ours is seen after it
		err = p.Intake.Archive.PutGuess(r.Context(),
			records.ClassGuess{Site: v.Site.ID, Day: day, Yes: yes, No: no, Ours: ours, Rule: rule, At: p.Now()})
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	http.Redirect(w, r, v.At("/class"), http.StatusSeeOther)
}
