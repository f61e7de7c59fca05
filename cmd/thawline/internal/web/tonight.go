package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/units"
)

// pageTonight names the page in forms that come back to it.
const pageTonight = "tonight"

// tonightBody is one screen: the verdict, what to do and when, how much, and the days to
// come.
type tonightBody struct {
	Made     string // where that was on another day
	Panel    panel
	Tight    bool      // the panel, where there is much to say below it
	TipOut   string    // groups whose sap has gone bad
	Task     *task     // the one thing to do
	Board    []crewDay // instead of it, where several go
	Covered  string    // that somebody is planned for all of it
	AllSaid  bool      // and all of them have said so
	Next     *nextRow  // the round after it
	Nothing  string    // that there is nothing to do
	Untapped bool      // since nobody has said that taps are in
	Short    string    // what is short first; the page of rounds has all
	Dangers  []sections.Section
	Question *question
	Week     *week
	Weather  []sections.Section
	Unseen   string // how many messages were not marked as seen, "" for none
	Hand     bool   // reads messages, and says whether they go
}

// panel is the answer to whether sap runs.
type panel struct {
	Mark         mark
	Verdict, Why string
	Amount, Unit string
	Range        string
	Plain        string // what stands for the amount where there is none
	Age          string // of weather that is old
}

// task is a round as the one thing to do.
type task struct {
	Tag, Title, Loads string
	Due               bool
	Round             roundBlock
}

type nextRow struct{ When, What string }

// mostNamed is how many groups whose sap has gone bad are named on the first screen; the
// page of rounds names all.
const mostNamed = 2

// mostListedLoads is how many groups of a round are listed there with their amounts.
const mostListedLoads = 3

// boardFrom is from how many rounds on they are shown as a board.
const boardFrom = 3

// tonight answers what everybody asks in the evening: does it run tomorrow, what is there
// to do and by when, and how much comes.
func (p *Pages) tonight(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "")
	if v == nil {
		return
	}
	b := &tonightBody{Hand: v.May("crew")}
	o := p.current(r.Context(), v)
	if o == nil {
		b.Panel = panel{Mark: markUnknown, Verdict: v.T("verdict_unknown"), Plain: v.Stopped}
		if v.Stopped == "" {
			b.Panel.Plain = v.T("page_none")
		}
	} else if err := p.fillTonight(r, v, o, b); err != nil {
		p.failed(w, r, err)
		return
	}
	rows, err := p.messages(r, v, o)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if n := len(slices.DeleteFunc(rows, func(m messageRow) bool { return m.Seen })); n > 0 {
		b.Unseen = v.N("messages_unseen", n)
	}
	v.Body = b
	p.send(w, r, http.StatusOK, "tonight", v)
}

func (p *Pages) fillTonight(r *http.Request, v *view, o *forecast.Outlook, b *tonightBody) error {
	if made := o.IssuedAt.In(v.Site.Zone); made.YearDay() != p.Now().In(v.Site.Zone).YearDay() {
		b.Made = v.T("wall_made", "When", v.Moment(made))
	}
	b.Panel = v.panel(o)
	parts := sections.Of(o, v.words, v.system)
	b.Dangers, b.Weather = named(parts, sections.Danger), named(parts, sections.Weather)
	if o.Season.Closed != nil {
		b.Nothing = v.T("rounds_closed")
		return nil
	}
	b.Week = v.week(o, p.Now())
	said, err := p.Intake.Attendance(r.Context(), v.Site, p.Now())
	if err != nil {
		return err
	}
	var bad []string
	for _, id := range o.Work.ToTipOut() {
		bad = append(bad, o.Bush.GroupName(id))
	}
	if len(bad) > 0 {
		groups := v.words.Joined(bad)
		if len(bad) > mostNamed {
			groups = v.groups(len(bad))
		}
		b.TipOut = v.T("text_tip_out", "Groups", groups) + "."
	}
	if v.toDo(o, said, p.Now(), b); o.Work.Untapped {
		b.Nothing, b.Untapped = v.T("rounds_untapped_title"), true
	}
	if short := sections.ShortOf(o, v.words, v.system); len(short) > 0 {
		b.Short = short[0]
	}
	b.Question, err = p.question(r, v, o)
	return err
}

// panel is tomorrow in a few words.
func (v *view) panel(o *forecast.Outlook) panel {
	out := panel{Mark: markUnknown, Verdict: v.T("verdict_unknown"), Age: v.words.WeatherAge(&o.Source)}
	if o.Season.Closed != nil {
		return panel{Mark: markNone, Verdict: v.T("tonight_closed"), Plain: v.words.Evening(o)}
	}
	if len(o.Days) < 2 || o.Days[1].Hours == 0 {
		return out
	}
	d := &o.Days[1]
	out.Mark, out.Verdict = sapMark(d), v.T(message.EveningWord(d))
	var why []string
	switch forecast.VerdictOf(d.RunProbability) {
	case forecast.WillRun:
		why = append(why, v.T("tonight_sure"))
	case forecast.Likely, forecast.Maybe:
		why = append(why, v.T("tonight_in_ten", "InTen", units.InTen(forecast.Shown(d.RunProbability))))
	default:
		if d.Why != "" {
			why = append(why, v.T("tonight_why_"+string(d.Why)))
		}
	}
	if window := v.words.Window(d); window != "" {
		why = append(why, upperFirst(window)+".")
	}
	out.Why = strings.Join(why, " ")
	if d.RunProbability < 0.25 {
		out.Plain = v.T("text_weather", "Low", units.Temperature(d.TemperatureC.Min, v.system), "High",
			units.Temperature(d.TemperatureC.Max, v.system))
		return out
	}
	mid, unit := v.words.RoughVolume(d.VolumeL.P50)
	low, _ := v.words.RoughVolume(d.VolumeL.P10)
	high, _ := v.words.RoughVolume(d.VolumeL.P90)
	if mid == "0" || low == "0" {
		most, unit := v.words.AtMost(d.VolumeL.P90)
		out.Plain = v.T("text_volume_upto", "High", most, "Unit", unit)
		return out
	}
	out.Amount, out.Unit, out.Range = mid, unit, v.T("tonight_range", "Low", low, "High", high)
	return out
}

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// toDo fills in what there is to do: one round as a task, several as a board.
func (v *view) toDo(o *forecast.Outlook, said []archive.StoredAttendance, now time.Time, b *tonightBody) {
	me := intake.Helper(v.Site, &v.Identity).ID
	var soon, later []*forecast.CrewRound
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		switch {
		case !r.End.After(now):
		case r.Start.Before(o.Work.Until):
			soon = append(soon, r)
		default:
			later = append(later, r)
		}
	}
	due := len(soon) > 0
	if !due {
		for len(later) > 0 && (len(soon) == 0 || later[0].Start.Format(time.DateOnly) == soon[0].Start.Format(time.DateOnly)) {
			soon, later = append(soon, later[0]), later[1:]
		}
	}
	if len(soon) == 0 {
		b.Nothing = v.T("tonight_nothing")
		return
	}
	if len(soon) >= boardFrom && severalGo(soon) {
		b.Tight = true
		v.board(o, soon, said, me, now, b)
		return
	}
	b.Task, b.Tight = v.task(o, soon[0], said, me, now), len(v.Site.Groups) > mostListedLoads
	b.Task.Due = due
	if rest := append(soon[1:], later...); len(rest) > 0 {
		b.Next = v.nextRow(o, rest[0], now)
	}
	if coming, carried := o.Work.Coming(); due && len(soon) > 2 { // what the evening text names
		n, unit := v.words.RoughVolume(carried.P50)
		b.Next.What += v.T("tonight_all_rounds", "N", strconv.Itoa(len(coming)), "Volume", n, "Unit", unit)
	}
}

// severalGo reports whether rounds are made by more than one helper or pair: who goes alone
// sees the next round, and the rest on the page of rounds.
func severalGo(rounds []*forecast.CrewRound) bool {
	for _, r := range rounds[1:] {
		if !slices.Equal(r.Who, rounds[0].Who) {
			return true
		}
	}
	return false
}

// board are rounds by day. What is said of them is said there by those who make them;
// keepers say it for others on the page of rounds.
func (v *view) board(o *forecast.Outlook, soon []*forecast.CrewRound, said []archive.StoredAttendance, me string, now time.Time,
	b *tonightBody) {
	b.AllSaid = true
	for _, r := range soon {
		one := v.block(o, r, said, me)
		one.Page = pageTonight
		if !one.Mine && one.Who != "" {
			one.Forms = nil
		}
		one.Forms = one.Forms[:min(1, len(one.Forms))]
		for i := range one.Forms {
			one.Forms[i].Buttons = slices.DeleteFunc(one.Forms[i].Buttons, func(c crewButton) bool { return c.Do == "day" })
		}
		b.AllSaid = b.AllSaid && one.Going
		v.addRound(&b.Board, r.SapL(), one, r.Start, now)
	}
	if len(o.Work.ShortOf) == 0 {
		b.Covered = v.T("tonight_covered_if")
		if b.AllSaid {
			b.Covered = v.T("tonight_covered")
		}
	}
}

// task is a round as a heading with what lies behind it.
func (v *view) task(o *forecast.Outlook, r *forecast.CrewRound, said []archive.StoredAttendance, me string, now time.Time) *task {
	t := &task{Round: v.block(o, r, said, me)}
	t.Round.Page = pageTonight
	for i := range t.Round.Forms {
		t.Round.Forms[i].Buttons = slices.DeleteFunc(t.Round.Forms[i].Buttons, func(c crewButton) bool { return c.Do == "day" })
	}
	t.Round.Forms = t.Round.Forms[:min(1, len(t.Round.Forms))]
	latest := r.Start
	var names, loads []string
	why := ""
	for _, g := range r.Groups {
		work := o.Work.Group(g.Group)
		if work.Latest != nil && (len(names) == 0 || work.Latest.Before(latest)) {
			latest = *work.Latest
		}
		if work.Why != "" && why == "" {
			why = v.T("why_" + work.Why)
		}
		name := o.Bush.GroupName(g.Group)
		names = append(names, name)
		amount, _ := v.words.RoughVolume(g.VolumeL)
		loads = append(loads, name+" "+amount)
	}
	t.Tag = v.T("tonight_tag", "When", v.dayWord(r.Start, now), "Time", v.words.Time(r.Start))
	if latest.Sub(r.Start) >= time.Hour && latest.Sub(now) > message.TooNear &&
		latest.Format(time.DateOnly) == r.Start.Format(time.DateOnly) {
		t.Tag = v.T("tonight_tag_latest", "When", v.dayWord(r.Start, now), "Time", v.words.Time(r.Start), "Latest", v.words.Clock(latest))
	}
	n, unit := v.words.RoughVolume(r.SapL())
	amount := n + " " + unit
	switch {
	case len(names) == 1 && v.isTank(r.Groups[0].Group):
		t.Title, t.Loads = v.T("tonight_empty_tank", "Group", names[0]), amount+"."
	case len(names) == 1:
		t.Title, t.Loads = v.T("tonight_gather", "Groups", names[0]), amount+"."
	case len(names) > mostListedLoads: // the page of rounds lists them
		t.Title, t.Loads = v.T("tonight_gather", "Groups", v.groups(len(names))), amount+"."
	default:
		t.Title, t.Loads = v.T("tonight_gather", "Groups", v.groups(len(names))),
			v.T("tonight_loads", "Amount", amount, "Loads", strings.Join(loads, ", "))
	}
	if why != "" {
		t.Loads += " " + why + "."
	}
	return t
}

// isTank reports whether a group runs into a tank rather than into containers.
func (v *view) isTank(group string) bool {
	for i := range v.Site.Groups {
		if g := &v.Site.Groups[i]; g.ID == group {
			return g.ContainerL == 0
		}
	}
	return false
}

func (v *view) nextRow(o *forecast.Outlook, r *forecast.CrewRound, now time.Time) *nextRow {
	var names []string
	for _, g := range r.Groups {
		names = append(names, o.Bush.GroupName(g.Group))
	}
	return &nextRow{v.T("tonight_tag", "When", v.dayWord(r.Start, now), "Time", v.words.Time(r.Start)),
		v.words.Joined(names) + ": " + v.rough(r.SapL())}
}

// groups is a number of the bush's groups, in words.
func (v *view) groups(n int) string {
	if n == len(v.Site.Groups) {
		return v.words.AllGroups(n)
	}
	return v.words.Plural("text_groups", n)
}

// dayWord is today, tomorrow or the weekday, as it begins a line.
func (v *view) dayWord(t, now time.Time) string {
	switch t.Format(time.DateOnly) {
	case now.In(t.Location()).Format(time.DateOnly):
		return v.T("today")
	case now.In(t.Location()).AddDate(0, 0, 1).Format(time.DateOnly):
		return v.T("tomorrow")
	}
	return upperFirst(v.words.Weekday(t))
}
