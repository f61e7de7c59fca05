package intake

import (
	"slices"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/records"
)

// SayAttendance says what somebody has said of a round, and what is planned now. before is
// the plan of that time, now the one that knows of it; nil where there is none.
func SayAttendance(w *message.Words, site *forecast.Site, said *records.Attendance, before, now *forecast.Outlook) string {
	if said.Kind == records.Going {
		return sayGoing(w, site, said, now)
	}
	values := span(w, site, said.From, said.To)
	values["Names"] = said.Name
	key := "attend_noted_away"
	if said.Person == "" {
		key = "attend_noted_none"
	} else if said.To.Sub(said.From) > 20*time.Hour {
		key = "attend_noted_day"
	}
	return strings.TrimSpace(w.Say(key, values) + " " + whoInstead(w, site, said, before, now))
}

func sayGoing(w *message.Words, site *forecast.Site, said *records.Attendance, now *forecast.Outlook) string {
	if now != nil {
		for i := range now.Work.Rounds {
			r := &now.Work.Rounds[i]
			if r.Pinned && r.Start.Equal(said.From) && (said.Person == "" && len(r.Who) == 0 || slices.Contains(r.Who, said.Person)) {
				if len(r.Groups) == 0 {
					return w.Say("attend_noted_idle", spanOf(w, site, said)) // nothing hangs to be gathered then
				}
				values := spanOfRound(w, site, r, now)
				var sum forecast.Range
				for _, g := range r.Groups {
					sum = forecast.Range{P10: sum.P10 + g.LowL, P50: sum.P50 + g.VolumeL, P90: sum.P90 + g.HighL}
				}
				if values["Amount"] = w.Amount(sum); r.TipsOut() {
					values["Amount"] = w.Say("attend_tip_out", nil)
				}
				return w.PluralWith("attend_takes", max(len(r.Who), 1), values)
			}
		}
	}
	return w.Say("attend_noted_going", spanOf(w, site, said))
}

// spanOf is when somebody goes, and who.
func spanOf(w *message.Words, site *forecast.Site, said *records.Attendance) map[string]any {
	values := span(w, site, said.From, said.To)
	if values["Names"] = said.Name; said.Person == "" {
		values["Names"] = w.Say("attend_anybody", nil)
	}
	return values
}

// missedBy lists the groups of the rounds that somebody can't make, and when those begin.
func missedBy(said *records.Attendance, work *forecast.Work) (groups []string, begins map[string]time.Time) {
	begins = map[string]time.Time{}
	for i := range work.Rounds {
		r := &work.Rounds[i]
		if r.Start.Before(said.To) && r.End.After(said.From) && (said.Person == "" || slices.Contains(r.Who, said.Person)) {
			for _, g := range r.Groups {
				if !slices.Contains(groups, g.Group) {
					groups, begins[g.Group] = append(groups, g.Group), r.Start
				}
			}
		}
	}
	return groups, begins
}

// whoInstead says who goes now to the groups of the rounds that somebody can't make.
func whoInstead(w *message.Words, site *forecast.Site, said *records.Attendance, before, now *forecast.Outlook) string {
	if before == nil || now == nil {
		return ""
	}
	groups, missed := missedBy(said, &before.Work)
	var nobody []string
	var instead []int // of the rounds
	for _, g := range groups {
		k := -1 // the nearest in time
		for i := range now.Work.Rounds {
			r := &now.Work.Rounds[i]
			goes := r.End.After(now.IssuedAt) && slices.ContainsFunc(r.Groups, func(one forecast.RoundGroup) bool { return one.Group == g })
			if goes && (k < 0 || r.Start.Sub(missed[g]).Abs() < now.Work.Rounds[k].Start.Sub(missed[g]).Abs()) {
				k = i
			}
		}
		switch {
		case k < 0:
			nobody = append(nobody, w.GroupName(&now.Bush, g))
		case !slices.Contains(instead, k):
			instead = append(instead, k)
		}
	}
	slices.Sort(instead) // rounds stand in the order in which they begin
	var says, rounds []string
	for _, k := range instead {
		rounds = append(rounds, w.Say("attend_now_round", spanOfRound(w, site, &now.Work.Rounds[k], now)))
	}
	if len(rounds) > 0 {
		says = append(says, w.Say("attend_now", map[string]any{"Rounds": strings.Join(rounds, "; ")}))
	}
	if len(nobody) > 0 {
		says = append(says, w.Say("attend_now_nobody", map[string]any{"Groups": w.Joined(nobody)}))
	}
	return strings.Join(says, " ")
}

// span are the values of words about a stretch of time.
func span(w *message.Words, site *forecast.Site, from, to time.Time) map[string]any {
	from, to = from.In(site.Zone), to.In(site.Zone)
	start, end := w.Hours(from, to)
	return map[string]any{"Day": w.ShortWeekday(from), "Weekday": w.Weekday(from), "Date": w.Date(from), "Time": start, "End": end}
}

// spanOfRound are the values of words about a round.
func spanOfRound(w *message.Words, site *forecast.Site, r *forecast.CrewRound, o *forecast.Outlook) map[string]any {
	values := span(w, site, r.Start, r.End)
	var names, groups []string
	for _, id := range r.Who {
		names = append(names, o.Bush.PersonName(id))
	}
	if len(names) == 0 {
		names = []string{w.Say("attend_anybody", nil)}
	}
	for _, g := range r.Groups {
		groups = append(groups, w.GroupName(&o.Bush, g.Group))
	}
	values["Names"], values["Groups"] = w.Joined(names), w.Joined(groups)
	return values
}

// SayNext says which round somebody is on next, "" where they are on none.
func SayNext(w *message.Words, site *forecast.Site, o *forecast.Outlook, helper string, now time.Time) string {
	r := RoundOf(site, &o.Work, helper, "", now)
	if r == nil {
		return ""
	}
	return w.Say("attend_now", map[string]any{"Rounds": w.Say("attend_now_round", spanOfRound(w, site, r, o))})
}
