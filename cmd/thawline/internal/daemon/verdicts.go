package daemon

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/verify"
)

// warnedWithin is how far back the evening looks for warnings.
const warnedWithin = 7 * 24 * time.Hour

// judged are the kinds of warnings that are looked back on.
func judged() []alerts.Kind { return append([]alerts.Kind{alerts.Change}, alerts.Judged...) }

// judge is done in the evening, once it is decided what there is to tell: it takes what
// visits say of warnings, and asks one person about one that was due yesterday. The
// question goes in the message that they get at that moment anyway, if there is one.
func (d *Daemon) judge(ctx context.Context, site *forecast.Site, past *past, now time.Time) error {
	told, before := past.Told, past.Verdicts
	if len(told) == 0 { // what was decided just now can't have come yet
		return nil
	}
	visits := make([]records.Visit, len(past.visits))
	for i := range past.visits {
		visits[i] = past.visits[i].Visit
	}
	for _, v := range alerts.FromVisits(told, before, visits, seenDays(site, past), now, site.Zone) {
		if err := d.Ledger.PutVerdict(ctx, &v); err != nil {
			return err
		}
		before = append(before, v)
	}
	if len(alerts.Questions(told, before, visits, now, site.Zone)) == 0 {
		return nil
	}
	pulled := d.pulled(ctx, site, now)
	if len(pulled) == len(site.Groups) {
		return nil
	}
	if other, err := d.otherWords(ctx, site, now); err != nil || other {
		return err
	}
	still := slices.DeleteFunc(slices.Clone(told), func(t alerts.Told) bool { _, is := pulled[t.Facts.GroupID]; return is })
	for _, v := range alerts.Questions(still, before, visits, now, site.Zone) {
		at := slices.IndexFunc(told, func(t alerts.Told) bool { return t.Key == v.Warning })
		put, err := d.put(ctx, site, &v, told[at].People, now)
		if put || err != nil {
			return err
		}
	}
	return nil
}

// seenDays are the days of which visits and looks say whether sap ran.
func seenDays(site *forecast.Site, past *past) map[string]bool {
	var visits []forecast.PastVisit
	for i := range past.visits {
		v := &past.visits[i]
		visits = append(visits, forecast.PastVisit{At: v.CollectedAt, Group: v.Group, VolumeL: v.VolumeL})
	}
	var looks []records.Observation
	for i := range past.looks {
		looks = append(looks, past.looks[i].Observation)
	}
	taps := func(group string) int {
		k := slices.IndexFunc(site.Groups, func(g forecast.Group) bool { return g.ID == group })
		if k < 0 {
			return 0
		}
		return site.Groups[k].Taps
	}
	return verify.SeenDays(visits, taps, looks, nil, site.Zone)
}

// otherWords reports whether an evening asks something else, or has just told that the
// season is over: then nobody wants to be asked about yesterday's run.
func (d *Daemon) otherWords(ctx context.Context, site *forecast.Site, now time.Time) (bool, error) {
	const endIsNews = 48 * time.Hour
	memory, today := d.Ledger.Memory(ctx), now.In(site.Zone).Format(time.DateOnly)
	_, at, asked, err := memory.Last(site.ID, alerts.TasteIt, "")
	if err != nil || asked && at.In(site.Zone).Format(time.DateOnly) == today {
		return true, err
	}
	_, at, said, err := memory.Last(site.ID, alerts.Evening, "")
	if err != nil {
		return false, err
	}
	if o := d.shelf.newest(site.ID); o != nil && o.Work.AsksLevel() && said && at.In(site.Zone).Format(time.DateOnly) == today {
		return true, nil
	}
	_, at, ended, err := memory.Last(site.ID, alerts.EndHere, "")
	return ended && now.Sub(at) < endIsNews, err
}

// put asks the first of some people who gathers and can be asked now; it reports false
// where that is nobody.
func (d *Daemon) put(ctx context.Context, site *forecast.Site, v *alerts.Verdict, people []string, now time.Time) (bool, error) {
	name, tank := v.Group, false
	for i := range site.Groups {
		if g := &site.Groups[i]; g.ID == v.Group {
			tank = g.ContainerL == 0
			if g.Name != "" {
				name = g.Name
			}
		}
	}
	question := alerts.Ask(v, name, tank, now, site.Zone)
	for _, id := range d.writersFirst(people) {
		d.mu.Lock()
		p := d.byID[id]
		d.mu.Unlock()
		if p == nil || !p.Concerns(site.ID) || !auth.Role(p.Role).May(auth.Crew) {
			continue
		}
		free := p.Quiet.End(now.In(site.Zone))
		hears, err := d.hears(ctx, p, now)
		if err != nil {
			return false, err
		}
		if !hears || free.After(question.Until) {
			continue
		}
		w, err := d.Words(p.Reader)
		if err != nil {
			return false, err
		}
		r := d.recipient(p, w, func(w *message.Words) string { return w.QuestionText(site.Name, &question) })
		r.NotBefore = free
		fresh, err := d.Ledger.Ask(ctx, question, r, v, now)
		if fresh {
			d.Metrics.Decided(question.Kind)
			d.Log.Info("asked", "site", site.ID, "about", v.Warning, "person", p.ID)
		}
		return true, err
	}
	return false, nil
}

// writersFirst are people with those first who can write back: they have a number.
func (d *Daemon) writersFirst(people []string) []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	writes := func(id string) int {
		p := d.byID[id]
		if p != nil && len(p.Ways) > 0 && strings.HasPrefix(p.Ways[0].To, "+") {
			return 0
		}
		return 1
	}
	out := slices.Clone(people)
	slices.SortStableFunc(out, func(a, b string) int { return writes(a) - writes(b) })
	return out
}

// AnswerQuestion takes a yes or no that a person wrote as the answer to the question that
// was the last thing sent to them, but for news that ask nothing. It reports false where that was no open question: then
// the words were meant for something else.
func (d *Daemon) AnswerQuestion(ctx context.Context, p *channel.Person, w *message.Words, yes bool, now time.Time) (reply string,
	answered bool, err error) {
	v, err := d.Ledger.Asked(ctx, "", p.ID, now.Add(-alerts.AnswerWithin))
	if errors.Is(err, ledger.ErrNone) {
		return "", false, nil
	}
	if err != nil {
		return "", false, err
	}
	last, err := d.Ledger.Newest(ctx, p.ID)
	if err != nil && !errors.Is(err, ledger.ErrNone) {
		return "", false, err
	}
	// Of minutes later: nobody answers those by yes or no.
	news := last.Kind == alerts.NewRound || last.Kind == alerts.RoundOff || last.Kind == alerts.Change
	if last.Kind != alerts.Question && !news {
		return "", false, nil
	}
	answer := alerts.No
	if yes {
		answer = alerts.Yes
	}
	err = d.Ledger.Answer(ctx, v.Site, v.Warning, answer, p.ID, now)
	if errors.Is(err, ledger.ErrNone) {
		return "", false, nil // answered long since
	}
	if err == nil {
		err = d.Ledger.Acknowledge(ctx, last.ID, now)
	}
	if err != nil {
		return "", false, err
	}
	d.Log.Info("answered", "site", v.Site, "about", v.Warning, "answer", answer, "person", p.ID)
	return w.Answered(yes), true, nil
}

// Thresholds are those of the settings, and those that a site's answers have led to.
func (d *Daemon) Thresholds(ctx context.Context, site string, now time.Time) (settings, tuned alerts.Thresholds, err error) {
	d.mu.Lock()
	settings = d.settings.Thresholds
	d.mu.Unlock()
	verdicts, err := d.Ledger.Verdicts(ctx, site, alerts.TaughtSince(now))
	return settings, settings.Tuned(verdicts, now), err
}
