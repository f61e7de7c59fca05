// Package report puts a season into one file that can be printed and sent, and its figures
// into a table.
package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/records"
	"thawline/forecast/units"
	"thawline/forecast/verify"
)

// Season is what a report is made from.
type Season struct {
	Year     int
	Site     *forecast.Site
	Past     forecast.Past
	Visits   []records.Visit
	Lots     []forecast.Lot
	Evenings []forecast.Evening
	Seen     map[string]bool // days of which somebody saw whether sap ran
	Others   []Other         // seasons before, for the picture
	Review   sections.Reviewed
	Names    map[string]string // of people, by id
	MadeAt   time.Time
	Version  string
	Services string // of weather, as the settings have them
}

// Other is a season beside which this one is drawn.
type Other struct {
	Year int
	Past *forecast.Past
}

//go:embed report.html
var page string

var parsed = template.Must(template.New("report").Parse(page))

type body struct {
	Lang, Direction, Title string
	Style                  template.CSS
	Letter                 []string
	Sum, Told              template.HTML
	Rounds, Lots           [][]string
	RoundsTitle, LotsTitle string
	LotsMean, NoLots       string
	Record, Made           []string
	RecordTitle, MadeTitle string
	Review                 []sections.Section
}

// HTML is the report as one page without anything outside of it.
func HTML(s *Season, words *message.Words, system units.System) ([]byte, error) {
	w := &writer{s: s, w: words.Open(), system: system}
	b := body{Lang: w.w.Language(), Direction: w.w.Direction(), Title: w.say("letter_title", "Year", s.Year, "Name", s.Site.Name),
		Style:  template.CSS(chart.Style + chart.SeasonStyle), //nolint:gosec // ours
		Letter: w.letter(), Sum: w.sum(), Rounds: w.rounds(), Lots: w.lots(), Record: w.record(), Made: w.made(),
		RoundsTitle: w.say("letter_rounds"), LotsTitle: w.say("letter_lots"), LotsMean: w.say("letter_lots_mean"),
		NoLots:      w.say("letter_no_lots"),
		RecordTitle: w.say("letter_record"), MadeTitle: w.say("letter_made"), Review: sections.OfReview(&s.Review, s.Site, w.w, system)}
	b.Told = w.told()
	var out bytes.Buffer
	if err := parsed.Execute(&out, b); err != nil {
		return nil, fmt.Errorf("the report of %d: %w", s.Year, err)
	}
	return []byte(message.Tied(message.Settle(out.String()), b.Lang)), nil
}

// writer puts a season into words.
type writer struct {
	s      *Season
	w      *message.Words
	system units.System
}

func (w *writer) say(key string, pairs ...any) string { return w.w.Say(key, valuesOf(pairs)) }

func (w *writer) plural(key string, n int, pairs ...any) string {
	return w.w.PluralWith(key, n, valuesOf(pairs))
}

func valuesOf(pairs []any) map[string]any {
	values := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if name, ok := pairs[i].(string); ok {
			values[name] = pairs[i+1]
		}
	}
	return values
}

// litres is a volume with its unit, "–" for none.
func (w *writer) litres(l float64) string {
	if math.IsNaN(l) {
		return "–"
	}
	n, unit := w.w.Volume(l)
	return n + " " + unit
}

func (w *writer) brix(x float64) string {
	if math.IsNaN(x) {
		return "–"
	}
	return w.w.Number(fmt.Sprintf("%.1f", x))
}

func (w *writer) date(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return "–"
	}
	return w.w.Date(t)
}

func (w *writer) moment(t time.Time) string {
	t = t.In(w.s.Site.Zone)
	return w.w.Date(t) + ", " + w.w.Time(t)
}

func (w *writer) group(id string) string {
	for i := range w.s.Site.Groups {
		if g := &w.s.Site.Groups[i]; g.ID == id && g.Name != "" {
			return g.Name
		}
	}
	return id
}

func (w *writer) groups(ids []string) string {
	var names []string
	for _, id := range ids {
		names = append(names, w.group(id))
	}
	if len(names) == 0 {
		return "–"
	}
	return strings.Join(names, ", ")
}

// letter tells the season in a few sentences.
func (w *writer) letter() []string {
	s := w.s
	sum, rounds := 0.0, 0
	var first, last time.Time
	for i := range s.Visits {
		v := &s.Visits[i]
		if !v.Collected() {
			continue
		}
		sum, rounds = sum+v.VolumeL, rounds+1
		if v.VolumeL > 0 {
			if last = v.CollectedAt; first.IsZero() {
				first = last
			}
		}
	}
	if rounds == 0 {
		return []string{w.say("letter_nothing", "Year", s.Year)}
	}
	out := []string{w.plural("letter_gathered", rounds, "Volume", w.litres(sum), "Taps", s.Site.Taps(), "Tap",
		w.litres(sum/float64(s.Site.Taps())))}
	if !first.IsZero() {
		out[0] += " " + w.say("letter_from_to", "From", w.date(first.In(s.Site.Zone).Format(time.DateOnly)), "To",
			w.date(last.In(s.Site.Zone).Format(time.DateOnly)))
	}
	var best *forecast.PastDay
	runs := 0
	for i := range s.Past.Days {
		d := &s.Past.Days[i]
		if d.Ran {
			runs++
		}
		if d.Known && (best == nil || d.SapL.P50 > best.SapL.P50) {
			best = d
		}
	}
	if best != nil && runs > 0 {
		n, unit := w.w.RoughVolume(best.SapL.P50)
		out = append(out, w.plural("letter_runs", runs, "Best", w.date(best.Date), "Volume", n+" "+unit))
	}
	syrup, boiled := 0.0, 0.0
	for i := range s.Lots {
		boiled += s.Lots[i].SapL
		if l := s.Lots[i].SyrupL; !math.IsNaN(l) {
			syrup += l
		}
	}
	switch {
	case syrup > 0:
		out = append(out, w.plural("letter_boiled", len(s.Lots), "Sap", w.litres(boiled), "Syrup", w.litres(syrup)))
	case len(s.Lots) > 0:
		out = append(out, w.plural("letter_boiled_sap", len(s.Lots), "Sap", w.litres(boiled)))
	}
	return out
}

func (w *writer) rounds() [][]string {
	rows := [][]string{{w.say("records_when"), w.say("records_group"), w.say("col_collected", "Unit", w.w.VolumeUnit()), "°Brix",
		w.say("letter_note")}}
	for i := range w.s.Visits {
		v := &w.s.Visits[i]
		collected := "–"
		if v.Collected() {
			collected, _ = w.w.Volume(v.VolumeL)
		}
		rows = append(rows, []string{w.moment(v.CollectedAt), w.group(v.Group), collected, w.brix(v.BrixPct), v.Note})
	}
	if len(rows) == 1 {
		return nil
	}
	return rows
}

// lots are the boils; what nobody wrote down is left open for a pen.
func (w *writer) lots() [][]string {
	unit := w.w.VolumeUnit()
	rows := [][]string{{w.say("letter_lot"), w.say("records_when"), w.say("letter_lot_sap", "Unit", unit), w.say("letter_lot_groups"),
		w.say("letter_lot_days"), "°Brix",
		w.say("letter_lot_syrup", "Unit", unit), w.say("letter_lot_filter"), w.say("letter_lot_containers"), w.say("letter_note")}}
	for i := range w.s.Lots {
		l := &w.s.Lots[i]
		days := w.date(l.From)
		if l.To != l.From {
			days += " – " + w.date(l.To)
		}
		syrup := ""
		if !math.IsNaN(l.SyrupL) {
			syrup, _ = w.w.Volume(l.SyrupL)
		}
		sap, _ := w.w.Volume(l.SapL)
		note := l.Note
		if name := w.s.Names[l.By]; name != "" {
			note = strings.TrimPrefix(note+"; "+name, "; ")
		}
		rows = append(rows, []string{l.ID, w.moment(l.At), sap, w.groups(l.Groups), days, w.brix(l.Brix), syrup, l.Filter, l.Containers,
			note})
	}
	if len(rows) == 1 {
		return nil
	}
	return rows
}

// record is how often it was right.
func (w *writer) record() []string {
	var days []forecast.PastDay
	for date, ran := range w.s.Seen {
		days = append(days, forecast.PastDay{Date: date, Known: true, Ran: ran})
	}
	skill := verify.Evenings(w.s.Evenings, days, nil, func(string) float64 { return 0 }, w.s.Site.Zone)
	var out []string
	if skill.N > 0 {
		out = append(out, w.plural("skill_right", skill.N, "Right", skill.Right)+".")
	}
	told, within := verify.Told(w.s.Evenings, w.s.Past.Visits, w.s.Site), 0
	for _, one := range told {
		if one.P10 <= one.ObservedL && one.ObservedL <= one.P90 {
			within++
		}
	}
	if len(told) > 0 {
		out = append(out, w.plural("skill_within", len(told), "Within", within)+". "+w.say("skill_visits_mean"))
	}
	if len(out) == 0 {
		out = append(out, w.say("skill_nobody"))
	}
	return append(out, w.say("skill_kept_mean"))
}

// made says how the report came about.
func (w *writer) made() []string {
	out := []string{w.say("letter_made_on", "Date", w.date(w.s.MadeAt.In(w.s.Site.Zone).Format(time.DateOnly)), "Year",
		w.s.MadeAt.In(w.s.Site.Zone).Year(), "Version", w.s.Version),
		w.say("letter_made_records"), w.say("letter_made_weather", "Services", w.s.Services), w.say("letter_made_model")}
	return append(out, w.say("letter_made_lots"))
}

// sum draws the season beside those before.
func (w *writer) sum() template.HTML {
	var lines []chart.SeasonLine
	for _, o := range append(w.s.Others, Other{w.s.Year, &w.s.Past}) {
		line, sum := chart.SeasonLine{Year: o.Year, Bold: o.Year == w.s.Year}, 0.0
		for i := range o.Past.Days {
			d := &o.Past.Days[i]
			t, err := time.Parse(time.DateOnly, d.Date)
			if err != nil {
				continue
			}
			day := chart.SeasonDay{Date: t, SumL: math.NaN()}
			if d.Known {
				sum += d.MeanL
				day.SumL = sum
			}
			line.Days = append(line.Days, day)
		}
		line.Ahead = len(line.Days)
		if len(line.Days) > 0 {
			lines = append(lines, line)
		}
	}
	if len(lines) == 0 {
		return ""
	}
	labels := w.w.ChartLabels(w.s.Site.Name)
	labels.Title = w.say("chart_season", "Name", w.s.Site.Name)
	return template.HTML(chart.SeasonSum(lines, labels, chart.Wide).Inline("sum")) //nolint:gosec // the picture escapes its words
}

// told draws the rounds beside what was said of them.
func (w *writer) told() template.HTML {
	visits := verify.Told(w.s.Evenings, w.s.Past.Visits, w.s.Site)
	if len(visits) == 0 {
		return ""
	}
	number := func(l float64) string { n, _ := w.w.Volume(l); return n }
	l := &chart.SkillLabels{Title: w.say("chart_visits"), Line: w.say("chart_visits_line"), Axis: w.say("chart_visits_axis"),
		Unit: w.w.VolumeUnit(), Date: w.date, Number: w.w.Number,
		Volume: func(l float64) float64 { x, _ := units.VolumeIn(l, w.system); return x },
		Visit: func(one verify.SapVisit) string {
			return w.say("chart_visits_one", "Date", w.date(one.Date)+" "+w.group(one.Group), "Volume", number(one.ObservedL), "Mid",
				number(one.P50), "Low", number(one.P10), "High", number(one.P90), "Unit", w.w.VolumeUnit())
		}}
	return template.HTML(chart.Visits(visits, l, chart.Wide).Inline("told")) //nolint:gosec // the picture escapes its words
}
