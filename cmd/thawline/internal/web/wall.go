package web

import (
	"net/http"

	"thawline/alerts/message/sections"
)

type wallBody struct {
	Evening, Gather, GatherMore string
	Made                        string
	Days, Rounds, Care, Weather []sections.Section
	Boil                        *boilBody
}

// wall is one sheet for the sugarhouse wall.
func (p *Pages) wall(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/wall")
	if v == nil {
		return
	}
	if o := p.current(r.Context(), v); o != nil {
		parts := sections.Of(o, v.words, v.system)
		plan := sections.OfRounds(o, v.words, v.system) // all of it
		b := &wallBody{Evening: v.words.Evening(o), Made: v.Moment(o.IssuedAt), Boil: boilOf(v, o),
			Days: named(parts, sections.Days), Rounds: named(plan, sections.Danger, sections.Rounds), Care: named(plan, sections.Care), Weather: named(parts, sections.Weather)}
		const week = 8 // days and the head
		for i := range b.Days {
			b.Days[i].Rows = b.Days[i].Rows[:min(week, len(b.Days[i].Rows))]
			for j := 1; j < len(b.Days[i].Rows); j++ { // "today" says nothing on a wall
				b.Days[i].Rows[j][0] = v.dateOf(o.Days[j-1].Date)
			}
		}
		for i := range b.Weather {
			b.Weather[i].Lines = nil
		}
		b.Gather, b.GatherMore, _ = nextRound(v, o, p.Now())
		v.Body = b
	}
	p.send(w, r, http.StatusOK, "wall", v)
}
