package web

import (
	"net/http"
	"slices"
	"strings"

	"thawline/alerts/message/sections"
	"thawline/forecast"
)

type wallBody struct {
	Panel         panel
	Day, Made     string // the day that the panel is about
	Week          *week
	Dangers, Care []sections.Section
	Rounds        [][]string // when, who, what, how much, loads
	RoundsSay     []string
	Boil          *boilBody
	Sugar         string // when the air is dry enough to stir it, "" for never
}

// wall is one sheet for the sugarhouse wall.
func (p *Pages) wall(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/wall")
	if v == nil {
		return
	}
	if o := p.current(r.Context(), v); o != nil {
		parts := sections.Of(o, v.words, v.system)
		b := &wallBody{Panel: v.panel(o), Made: v.Moment(o.IssuedAt), Boil: boilOf(v, o), Dangers: named(parts, sections.Danger),
			Care: named(sections.OfRounds(o, v.words, v.system), sections.Care)}
		if len(o.Days) > 1 { // "tomorrow" says nothing on a wall
			b.Day = strings.TrimSuffix(v.dateOf(o.Days[1].Date), ".") + "."
		}
		if o.Season.Closed == nil {
			b.Week = v.week(o, p.Now())
		}
		b.Rounds, b.RoundsSay = v.wallRounds(o)
		b.Boil.Days, b.Sugar = withFire(b.Boil.Days), v.wallSugar(o)
		v.Body = b
	}
	p.send(w, r, http.StatusOK, "wall", v)
}

// withFire are the head and the first days on which there is a fire.
func withFire(days [][]string) [][]string {
	const fire = 1 // the column of its hours
	out := slices.DeleteFunc(slices.Clone(days), func(row []string) bool { return row[fire] == "–" })
	return out[:min(mostOnWall+1, len(out))]
}

// wallSugar are the next hours for stirring sugar, in one line.
func (v *view) wallSugar(o *forecast.Outlook) string {
	const most = 3
	var hours []string
	for i := range o.Sugar[:min(most, len(o.Sugar))] {
		s := &o.Sugar[i]
		hours = append(hours, v.numberedDay(s.Date)+" "+v.T("sugar_span", "Start", v.words.Clock(s.From), "End", v.words.Clock(s.To)))
	}
	if len(hours) == 0 {
		return ""
	}
	return v.T("wall_sugar", "Hours", strings.Join(hours, ", "))
}

// mostOnWall is how many rounds fit the sheet.
const mostOnWall = 5

// wallRounds are the rounds as rows for the sheet, and what is short, off, to be tipped out
// and left.
func (v *view) wallRounds(o *forecast.Outlook) (rows [][]string, says []string) {
	for i := range o.Work.Rounds[:min(mostOnWall, len(o.Work.Rounds))] {
		r := &o.Work.Rounds[i]
		b := v.block(o, r, nil, "")
		var what []string
		for _, l := range b.Loads {
			what = append(what, l.Name+" "+l.Amount)
		}
		who := b.Who
		if who == "" {
			who = v.T("crew_anybody")
		}
		if b.Going {
			who = v.T("wall_gather_goes", "Names", who)
		}
		rows = append(rows, []string{v.ShortDay(r.Start) + ", " + b.Start + " " + v.T("crew_until", "End", b.End), who,
			strings.Join(what, ", "), b.Effort})
	}
	says = slices.Concat(sections.OffRounds(o, v.words), sections.ShortOf(o, v.words, v.system))
	if bad := v.words.TipOut(o); bad != "" {
		says = append(says, bad)
	}
	says = append(says, v.leftOut(o)...)
	if len(rows) == 0 {
		says = append([]string{v.T("rounds_none")}, says...)
	}
	return rows, says
}
