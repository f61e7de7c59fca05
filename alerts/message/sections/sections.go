// Package sections puts an outlook into words by sections, for a terminal and for pages,
// and makes the document that programs read.
package sections

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

// Section is one of what is told: a title, a table with its head in the first
// row, and lines below. Name tells sections apart for those who set them elsewhere.
type Section struct {
	Name  Name
	Title string
	Rows  [][]Cell
	Lines []Line
}

// Cell is what stands at one place of a table: a text, or a score from 0 to 100 that is
// drawn as a bar before its number.
type Cell struct {
	Text   string
	Score  int
	Scored bool
}

// Blocks is the filled part of the bar of a score, "" for a text.
func (c Cell) Blocks() string {
	if !c.Scored {
		return ""
	}
	return strings.Repeat("█", (c.Score*barWidth+50)/100)
}

// String is a text, or a score in percent.
func (c Cell) String() string {
	if c.Scored {
		return strconv.Itoa(c.Score) + " %"
	}
	return c.Text
}

// drawn is what a terminal shows.
func (c Cell) drawn() string {
	if !c.Scored {
		return c.Text
	}
	full := c.Blocks()
	return full + strings.Repeat("·", barWidth-utf8.RuneCountInString(full)) + fmt.Sprintf(" %3d %%", c.Score)
}

// texts are cells of a row.
func texts(list ...string) []Cell {
	row := make([]Cell, len(list))
	for i, text := range list {
		row[i].Text = text
	}
	return row
}

// Name is what a section is about.
type Name string

// The sections of an outlook.
const (
	Stage   Name = "stage" // of the season, and buds
	Yields  Name = "yields"
	Days    Name = "days"
	ToDo    Name = "to_do"
	Danger  Name = "danger" // official warnings, and what the forecast sees
	Rounds  Name = "rounds"
	InStock Name = "stock" // of the sugarhouse
	Fire    Name = "fire"
	Care    Name = "care"
	Weather Name = "weather" // where it came from and how old it is
)

// Line is a sentence; an item is one of several things of equal weight.
type Line struct {
	Text string
	Item bool
	Link string // to more of it, "" for none
}

// Of is an outlook in words: tomorrow, the days as a table, what to do,
// rounds, stock, fire, cautions, and where the weather came from and how old it is.
func Of(o *forecast.Outlook, w *message.Words, system units.System) []Section {
	p := newPage(w, system)
	p.zone = o.IssuedAt.Location()
	p.title(o)
	if o.Season.Closed != nil { // there is nothing to go out for, nor to wait for
		p.source(o)
		return p.sections
	}
	p.days(o)
	p.work(o)
	p.danger(o)
	p.rounds(o, 6)
	p.stock(o)
	p.fire(o, 2)
	p.cautions(o, func(forecast.Caution) bool { return true })
	p.source(o)
	return p.sections
}

// Print writes the outlook for a terminal.
func Print(out io.Writer, o *forecast.Outlook, w *message.Words, system units.System) error {
	return write(out, Of(o, w.Open(), system))
}

func write(out io.Writer, list []Section) error {
	var b strings.Builder
	for i, section := range settled(list) {
		if i > 0 {
			b.WriteString("\n")
		}
		if section.Title != "" {
			b.WriteString(section.Title + "\n")
		}
		table(&b, section.Rows)
		for _, l := range section.Lines {
			if l.Item {
				b.WriteString("  ")
			}
			b.WriteString(l.Text)
			if l.Link != "" {
				b.WriteString(" " + l.Link)
			}
			b.WriteString("\n")
		}
	}
	if _, err := io.WriteString(out, b.String()); err != nil {
		return fmt.Errorf("print: %w", err)
	}
	return nil
}

// settled are sections with each sentence in one language.
func settled(list []Section) []Section {
	out := make([]Section, len(list))
	for i, s := range list {
		one := Section{Name: s.Name, Title: message.Settle(s.Title)}
		for _, row := range s.Rows {
			cells := slices.Clone(row)
			for at := range cells {
				cells[at].Text = message.Settle(cells[at].Text)
			}
			one.Rows = append(one.Rows, cells)
		}
		for _, l := range s.Lines {
			l.Text = message.Settle(l.Text)
			one.Lines = append(one.Lines, l)
		}
		out[i] = one
	}
	return out
}

type page struct {
	sections []Section
	w        *message.Words
	system   units.System
	zone     *time.Location
}

func (p *page) head(name Name, title string) {
	p.sections = append(p.sections, Section{Name: name, Title: title})
}

func (p *page) plain(text string) { p.last().Lines = append(p.last().Lines, Line{Text: text}) }

func (p *page) item(text string) {
	p.last().Lines = append(p.last().Lines, Line{Text: text, Item: true})
}

func (p *page) last() *Section {
	if len(p.sections) == 0 {
		p.head("", "")
	}
	return &p.sections[len(p.sections)-1]
}

func (p *page) say(key string, values map[string]any) string { return p.w.Say(key, values) }

func (p *page) title(o *forecast.Outlook) {
	p.head(Stage, p.say("report_title", map[string]any{"Name": o.Bush.Name, "Taps": p.w.Plural("rounds_taps", tapsOf(o))}))
	p.plain(p.say("report_made", map[string]any{
		"Day": p.w.Weekday(o.IssuedAt), "Date": p.w.Date(o.IssuedAt), "Time": p.w.Time(o.IssuedAt)}))
	p.plain(p.seasonLine(o))
	p.buds(&o.Season)
	p.taste(&o.Season)
	for i := range o.Season.Signs {
		p.sign(&o.Season.Signs[i])
	}
}

// SeasonLine says where in the season a bush is, and when good sap likely ends.
func SeasonLine(o *forecast.Outlook, w *message.Words, system units.System) string {
	return newPage(w, system).seasonLine(o)
}

func (p *page) seasonLine(o *forecast.Outlook) string {
	stage := string(o.Season.Stage)
	switch begins := o.Season.Stage == season.Before || o.Season.Stage == season.Opened; {
	case begins && o.Season.Tapped: // also in a thaw before the usual start
		stage = "tapped"
	case begins && o.Season.WorthTapping:
		stage = string(season.Opened)
	case o.Season.Stage == season.Opened:
		stage = "wait"
	}
	values := map[string]any{"From": p.date(o.Season.End.P10), "To": p.date(o.Season.End.P90), "LastRun": p.date(o.Season.LastRun.P50),
		"Runs": o.Season.RunDays}
	if o.Season.Closed != nil {
		values["On"] = p.date(o.Season.Closed.On)
	}
	return p.say("report_season_"+stage, values)
}

// taste tells from when on sap may taste off, once there is a chance of it.
func (p *page) taste(s *forecast.Season) {
	const week, least = 2, 0.05
	if t := s.Taste; s.Closed == nil && s.Tapped && s.Stage != season.Over && t != nil && len(t.OffBy) > week &&
		t.OffBy[week].Chance >= least {
		p.plain(p.say("report_taste", map[string]any{"Today": units.Chance(t.OffBy[0].Chance),
			"Week": units.Chance(t.OffBy[week].Chance), "Date": p.date(t.OffBy[week].Date)}))
	}
}

// sign tells what the springs say of a sign.
func (p *page) sign(s *forecast.SeasonSign) {
	key, values := "report_sign", map[string]any{"Sign": s.Sign, "Springs": p.w.Plural("season_springs", s.Springs)}
	if s.Seen != "" {
		key, values["Seen"] = "report_sign_seen", p.date(s.Seen)
	}
	says := []string{p.say(key, values)}
	days := func(key string, x *float64) {
		if x != nil {
			says = append(says, p.say(key, map[string]any{"Days": fmt.Sprintf("%.0f", *x)}))
		}
	}
	days("report_sign_run", s.BeforeRunDays)
	days("report_sign_end", s.BeforeEndDays)
	switch {
	case math.Abs(s.MovesEndDays) >= 0.5:
		says = append(says, p.say("report_sign_moves", map[string]any{"Days": fmt.Sprintf("%+.0f", s.MovesEndDays)}))
	case s.Seen != "":
		says = append(says, p.say("report_sign_still", nil))
	}
	p.plain(strings.Join(says, " "))
}

// tapsOf is how many taps an outlook is about: those that are in, and of a season that is
// closed all that there were.
func tapsOf(o *forecast.Outlook) int {
	if in := o.Bush.TapsIn(); in > 0 {
		return in
	}
	return o.Bush.Taps
}

// buds tells when leaf buds may open, and the sum that people can count for
// themselves.
func (p *page) buds(s *forecast.Season) {
	switch {
	case s.Buds == nil:
	case s.Buds.Noted != "":
		p.plain(p.say("report_buds_noted", map[string]any{"On": p.date(s.Buds.Noted)}))
	default:
		p.plain(p.say("report_buds", map[string]any{"Species": p.species(s.Buds.Species), "From": p.date(s.Buds.P10),
			"To": p.date(s.Buds.P90)}))
	}
	if d := s.DegreeDays; d != nil {
		base, factor, unit := d.AboveC, 1.0, "°C"
		if p.system == units.US {
			base, factor, unit = 32+1.8*d.AboveC, 1.8, "°F"
		}
		p.plain(p.say("report_degree_days", map[string]any{
			"Base": fmt.Sprintf("%.0f %s", base, unit), "From": p.date(d.From), "Sum": fmt.Sprintf("%.0f", factor*d.SoFar),
			"Open": fmt.Sprintf("%.0f", factor*d.BudsOpenAt)}))
	}
}

func (p *page) date(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return p.w.Date(t)
}

const barWidth = 10

func (p *page) days(o *forecast.Outlook) {
	unit := p.w.VolumeUnit()
	degree := "°C"
	if p.system == units.US {
		degree = "°F"
	}
	rows := [][]Cell{texts(p.say("col_day", nil), p.say("col_low_high", map[string]any{"Unit": degree}),
		p.say("col_chance", nil), p.say("col_flow", nil), p.say("col_hours", nil),
		p.say("col_volume", map[string]any{"Unit": unit}))}
	for i := range o.Days {
		d := &o.Days[i]
		rows = append(rows, append(texts(p.dayName(d, i), p.lowHigh(d), units.Chance(forecast.Shown(d.RunProbability))),
			Cell{Score: d.FlowScore, Scored: true}, Cell{Text: p.hours(d)}, Cell{Text: p.volume(d)}))
	}
	p.head(Days, "")
	p.last().Rows = rows
	p.plain(p.say("report_flow_means", nil))
	p.plain(p.say("report_range_means", nil))
}

func (p *page) dayName(d *forecast.Day, i int) string {
	t, err := time.Parse(time.DateOnly, d.Date)
	if err != nil {
		return d.Date
	}
	if i < 2 {
		return p.say([]string{"today", "tomorrow"}[i], nil)
	}
	return p.w.ShortWeekday(t) + " " + p.w.Date(t)
}

// fine is a temperature to a tenth of a degree.
func (p *page) whole(c float64) string { return units.Temperature(c, p.system) }

func (p *page) fine(c float64) string { return p.w.Number(units.FineTemperature(c, p.system)) }

// decimals is a number with so many of them.
func (p *page) decimals(x float64, n int) string {
	return p.w.Number(strconv.FormatFloat(x, 'f', n, 64))
}

func (p *page) lowHigh(d *forecast.Day) string {
	if d.Hours == 0 {
		return "-"
	}
	return fmt.Sprintf("%4s %4s", units.Degrees(d.TemperatureC.Min, p.system), units.Degrees(d.TemperatureC.Max, p.system))
}

func (p *page) hours(d *forecast.Day) string {
	if d.Window == nil {
		return "-"
	}
	if d.Window.End.Sub(d.Window.Start) >= 23*time.Hour { // on a day when clocks change too
		return p.say("text_all_day", nil)
	}
	return p.w.Clock(d.Window.Start) + "–" + p.w.Clock(d.Window.End)
}

func (p *page) volume(d *forecast.Day) string {
	if d.VolumeL.P90 < 0.5 {
		return "-"
	}
	number := func(l float64) string { n, _ := p.w.Volume(l); return n }
	return fmt.Sprintf("%s (%s–%s)", number(d.VolumeL.P50), number(d.VolumeL.P10), number(d.VolumeL.P90))
}

// table sets columns side by side.
func table(b *strings.Builder, rows [][]Cell) {
	width := map[int]int{}
	for _, r := range rows {
		for i, cell := range r {
			width[i] = max(width[i], utf8.RuneCountInString(cell.drawn()))
		}
	}
	for _, r := range rows {
		var line strings.Builder
		for i, cell := range r {
			text := cell.drawn()
			line.WriteString(text)
			if i < len(r)-1 {
				line.WriteString(strings.Repeat(" ", width[i]-utf8.RuneCountInString(text)+2))
			}
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
}

// work says what there is to do: gather, and where the syrup draws off.
func (p *page) work(o *forecast.Outlook) {
	p.head(ToDo, p.say("report_work", nil))
	said := false
	if bad := p.w.TipOut(o); bad != "" {
		p.item(bad)
		said = true
	}
	for i := range o.Work.Groups {
		if words := p.group(o, &o.Work.Groups[i]); words != "" {
			p.item(words)
			said = true
		}
	}
	for i := range o.Boil {
		b := &o.Boil[i]
		if len(o.Days) > 1 && b.Date == o.Days[1].Date {
			key, write := "work_drawoff", p.fine
			if !b.PressureKnown {
				key, write = "work_drawoff_by_height", p.whole
			}
			if !b.PressureKnown && !b.HeightKnown {
				key = "work_drawoff_unknown"
			}
			p.item(p.say(key, map[string]any{"DrawOff": write(b.DrawOffC), "Water": write(b.BoilingPointC)}))
			said = true
		}
	}
	if !said {
		p.item(p.say("work_nothing", nil))
	}
}

// group says what to do about a group, "" for nothing, and where it is tipped out, which is said of
// all such groups together.
func (p *page) group(o *forecast.Outlook, g *forecast.GroupWork) string {
	values := map[string]any{"Group": p.w.GroupName(&o.Bush, g.Group)}
	switch {
	case g.Decision == forecast.Gather:
		var names []string
		for _, id := range g.Who {
			names = append(names, o.Bush.PersonName(id))
		}
		if values["Who"] = ""; len(names) > 0 {
			values["Who"] = p.say("rounds_who", map[string]any{"Names": strings.Join(names, ", ")})
		}
		values["Volume"], values["Unit"] = p.w.RoughVolume(g.VolumeL.P50)
		values["Day"], values["Time"] = p.w.Weekday(*g.GoAt), p.w.Clock(*g.GoAt)
		values["Latest"] = p.until(*g.GoAt, *g.Latest)
		values["Why"] = p.say("why_"+g.Why, nil)
		values["Chance"] = units.Chance(g.OverflowProbability)
		switch {
		case g.OverflowProbability >= 0.1:
			if g.Why == "overflow" { // the chance says why
				return p.say("work_gather_full", values)
			}
			return p.say("work_gather_risky", values)
		case g.Latest.After(*g.GoAt):
			return p.say("work_gather_by", values)
		}
		return p.say("work_gather", values)
	case g.Decision == forecast.Leave && g.SinceVisit == nil && o.Season.Stage != season.Before && o.Season.Stage != season.Over:
		return p.say("work_unknown", values)
	}
	return ""
}

// cautions are those of a place of work: each stands where hands, eyes and feet are at risk.
func (p *page) cautions(o *forecast.Outlook, here func(forecast.Caution) bool) {
	p.head(Care, p.say("report_care", nil))
	for _, c := range o.Cautions {
		if here(c) {
			p.item(p.say("caution_"+string(c), nil))
		}
	}
}

func atThePan(c forecast.Caution) bool { return c == forecast.CautionHotPan }

func inTheBush(c forecast.Caution) bool { return !atThePan(c) && c != forecast.CautionEstimate }

func (p *page) source(o *forecast.Outlook) {
	s := &o.Source
	issued := s.IssuedAt.In(p.zone)
	key := "report_source"
	if s.Kept {
		key = "report_source_kept"
	}
	p.head(Weather, p.say(key, map[string]any{"Name": p.w.Service(s.Name), "Age": p.w.Age(s.AgeHours),
		"Issued": p.w.ShortWeekday(issued) + " " + p.w.Date(issued) + " " + p.w.Time(issued)}))
	p.item(p.say("report_spread_"+s.Spread, map[string]any{"N": s.Members}))
	p.eyes(&o.Eyes)
	for _, over := range s.PassedOver {
		p.item(p.w.PassedOver(over))
	}
	for i := range s.Remarks {
		p.item(p.w.Remark(&s.Remarks[i]))
	}
	for _, c := range o.Attribution {
		text := c.Text
		if c.Licence != "" {
			text += " (" + c.Licence + ")"
		}
		if c.Link != "" {
			text += " " + c.Link
		}
		p.item(text)
	}
}
