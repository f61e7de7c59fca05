package web

import (
	"errors"
	"fmt"
	"net/http"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// question is one that waits for an answer.
type question struct{ Words, Warning string }

// question is the one that was put today about the view's bush, to whoever it was; nil
// where none waits, for those who only look on, and where its taps are pulled.
func (p *Pages) question(r *http.Request, v *view, o *forecast.Outlook) (*question, error) {
	if !v.Identity.Role.May(auth.Crew) {
		return nil, nil
	}
	y, m, d := p.Now().In(v.Site.Zone).Date()
	asked, err := p.Messages.Asked(r.Context(), v.Site.ID, "", time.Date(y, m, d, 0, 0, 0, 0, v.Site.Zone))
	if errors.Is(err, ledger.ErrNone) || err == nil && asked.Answer != alerts.Unanswered {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if o.Season.Closed != nil || o.Bush.IsPulled(asked.Group) {
		return nil, nil
	}
	tank := false
	for i := range v.Site.Groups {
		if g := &v.Site.Groups[i]; g.ID == asked.Group {
			tank = g.ContainerL == 0
		}
	}
	decision := alerts.Ask(&asked, v.groupName(asked.Group), tank, asked.AskedAt, v.Site.Zone)
	return &question{v.words.Question(&decision), asked.Warning}, nil
}

// answerOf is what a form answers.
func answerOf(r *http.Request) alerts.Answer {
	if a := alerts.Answer(r.PostFormValue("answer")); a == alerts.Yes || a == alerts.No {
		return a
	}
	return alerts.Unanswered
}

// answer takes what somebody says became of a warning.
func (p *Pages) answer(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "")
	if v == nil {
		return
	}
	said := answerOf(r)
	if said == alerts.Unanswered {
		p.fault(w, r, http.StatusUnprocessableEntity, "entry_wrong_form")
		return
	}
	by := v.Identity.Person
	if by == "" {
		by = byPage
	}
	err := p.Messages.Answer(r.Context(), v.Site.ID, r.PostFormValue("warning"), said, by, p.Now())
	if errors.Is(err, ledger.ErrNone) {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	http.Redirect(w, r, v.At("?done=done_answered"), http.StatusSeeOther)
}

// verdictsBody is what became of warnings, and what that moved.
type verdictsBody struct {
	Rows  [][]string
	Bound []string   // from which chances warnings are sent
	Kept  [][]string // words of the evenings and what people saw
}

// verdicts counts what became of this season's warnings. seen are the days of which somebody
// saw whether sap ran.
func (p *Pages) verdicts(r *http.Request, v *view, evenings []forecast.Evening, seen map[string]bool) (*verdictsBody, error) {
	since := season.WinterStart(p.Now(), v.Site.Zone)
	told, err := p.Messages.Warnings(r.Context(), v.Site.ID, alerts.Judged, since)
	if err != nil {
		return nil, err
	}
	list, err := p.Messages.Verdicts(r.Context(), v.Site.ID, since)
	if err != nil {
		return nil, err
	}
	stored, err := p.Records.Visits(r.Context(), v.Site.ID, since, v.Site.Zone)
	if err != nil {
		return nil, err
	}
	visits := make([]records.Visit, len(stored))
	for i := range stored {
		visits[i] = stored[i].Visit
	}
	settings, tuned, err := p.Outlooks.Thresholds(r.Context(), v.Site.ID, p.Now())
	if err != nil {
		return nil, err
	}
	b := &verdictsBody{Kept: v.wordsKept(evenings, seen)}
	if len(told) == 0 && len(list) == 0 {
		return b, nil
	}
	b.Rows = v.tallies(alerts.Tallies(told, list, visits))
	b.Bound = []string{
		v.bound("skill_bound_overflow", settings.OverflowProbability, tuned.OverflowProbability, settings.OverflowChosen),
		v.bound("skill_bound_run", settings.RunProbability, tuned.RunProbability, settings.RunChosen),
	}
	return b, nil
}

func (v *view) tallies(list []alerts.Tally) [][]string {
	rows := [][]string{{v.T("skill_col_warning"), v.T("skill_col_warned"), v.T("skill_col_asked"), v.T("skill_col_hits"),
		v.T("skill_col_false"), v.T("skill_col_missed")}}
	for _, t := range list {
		missed := v.T("skill_missed_unknown")
		if t.Missed >= 0 {
			missed = fmt.Sprint(t.Missed)
		}
		rows = append(rows, []string{v.T("kind_" + string(t.Kind)), fmt.Sprint(t.Warned),
			v.N("skill_asked", t.Asked, "Answered", t.Answered), fmt.Sprint(t.Hits), fmt.Sprint(t.False), missed})
	}
	return rows
}

// bound says from which chance a kind is warned of, and who says so.
func (v *view) bound(kind string, settings, tuned float64, chosen bool) string {
	why := "skill_bound_usual"
	switch {
	case chosen:
		why = "skill_bound_chosen"
	case tuned != settings:
		why = "skill_bound_tuned"
	}
	return v.T(kind, "Chance", percent(tuned), "Why", v.T(why, "Before", percent(settings)))
}

// wordsKept says how often each of the evening's words was said, and how often sap ran of
// the days that somebody saw; nil where nobody saw any.
func (v *view) wordsKept(evenings []forecast.Evening, seen map[string]bool) [][]string {
	var said []alerts.Said
	for i := range evenings {
		if days := evenings[i].Days; len(days) > 0 {
			said = append(said, alerts.Said{Word: message.EveningWord(&days[0]), Date: days[0].Date})
		}
	}
	rows, known := [][]string{{v.T("skill_kept_said"), v.T("skill_kept_evenings"), v.T("skill_kept_seen"), v.T("skill_kept_ran")}}, 0
	for _, k := range alerts.WordsKept(message.EveningWords, said, seen) {
		known += k.Known
		rows = append(rows, []string{v.T(k.Word), fmt.Sprint(k.Said), fmt.Sprint(k.Known), fmt.Sprint(k.Ran)})
	}
	if known == 0 {
		return nil
	}
	return rows
}
