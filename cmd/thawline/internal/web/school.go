package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"thawline/alerts/feed"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/parallel"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

type schoolBody struct {
	Shares  [][]string // how often sap dripped in school hours, by week
	Told    string     // of how many springs
	Visits  []visitRow
	May     bool
	From    string // of the first window, for the form
	To      string
	Soonest string
}

type visitRow struct {
	ID, When, Verdict, Why string
	Off                    bool
	Hold                   []string
	Order                  []string
	Likely, Again          string
}

// school are visits of classes: weeks ahead by past springs, and those that are booked.
func (p *Pages) school(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	b := &schoolBody{May: v.May("keeper"), From: "09:00", To: "11:30",
		Soonest: p.Now().In(v.Site.Zone).AddDate(0, 0, 1).Format(time.DateOnly)}
	if list := v.Site.Boiling.School; len(list) > 0 {
		b.From, b.To = hourText(list[0].From), hourText(list[0].To)
	}
	if err := p.shares(r.Context(), v, b); err != nil {
		p.failed(w, r, err)
		return
	}
	if o := p.current(r.Context(), v); o != nil {
		for i := range o.Classes {
			b.Visits = append(b.Visits, v.visitRow(&o.Classes[i], o))
		}
	}
	v.Body = b
	p.send(w, r, http.StatusOK, "school", v)
}

func hourText(d time.Duration) string {
	return fmt.Sprintf("%02d:%02d", int(d.Hours()), int(d.Minutes())%60)
}

// mostSprings is how many past springs are looked back on for a page, the newest.
const mostSprings = 12

// shares tell by week and window how often sap dripped in past springs.
func (p *Pages) shares(ctx context.Context, v *view, b *schoolBody) error {
	windows := windowsOf(v.Site.Boiling.School)
	years, err := p.years(ctx, v.Site)
	if err != nil {
		return err
	}
	here := p.Now().In(v.Site.Zone)
	years = slices.DeleteFunc(years[:min(len(years), mostSprings)], func(y int) bool { return y >= here.Year() })
	springs, err := p.dripSprings(ctx, v.Site, years, windows)
	if err != nil {
		return err
	}
	head := []string{v.T("school_week")}
	for _, window := range windows {
		head = append(head, v.windowText(window))
	}
	b.Shares = [][]string{head}
	told := 0
	for _, monday := range schoolWeeks(here) {
		row := []string{v.words.Date(monday)}
		for i := range windows {
			share, of := forecast.DripShare(springs[i], monday.YearDay()+2)
			told = max(told, of)
			cell := "–"
			if !math.IsNaN(share) {
				cell = v.T("sugar_in_ten", "InTen", units.InTen(share))
			}
			row = append(row, cell)
		}
		b.Shares = append(b.Shares, row)
	}
	if told == 0 {
		b.Shares, b.Told = nil, v.T("school_no_springs")
		return nil
	}
	b.Told = v.N("school_springs", told)
	return nil
}

// dripSprings are the springs of those years of which weather is kept, by window.
func (p *Pages) dripSprings(ctx context.Context, site *forecast.Site, years []int, windows []forecast.Free,
) (springs [][]forecast.DripSpring, err error) {
	marks, err := p.seasonMarks(ctx, site, years...)
	if err != nil {
		return nil, err
	}
	mark := fmt.Sprint(years, marks) // of the bush too, whose windows they are
	p.springs.mu.Lock()
	kept, found := p.springs.kept[site.ID]
	p.springs.mu.Unlock()
	if found && kept.mark == mark {
		return kept.springs, nil
	}
	past, errs := make([]*forecast.Past, len(years)), make([]error, len(years))
	parallel.Each(len(years), func(_, i int) { past[i], errs[i] = p.seasonOf(ctx, site, years[i]) })
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	springs = make([][]forecast.DripSpring, len(windows))
	for n, year := range years {
		for i, window := range windows {
			if past[n] != nil {
				springs[i] = append(springs[i], forecast.DripsIn(past[n], site, year, window.From, window.To))
			}
		}
	}
	p.springs.mu.Lock()
	defer p.springs.mu.Unlock()
	if p.springs.kept == nil || len(p.springs.kept) >= mostPast {
		p.springs.kept = map[string]keptSprings{}
	}
	p.springs.kept[site.ID] = keptSprings{mark, springs}
	return springs, nil
}

// springs are the past springs of classes that were worked out last, one list of a site.
type springs struct {
	mu   sync.Mutex
	kept map[string]keptSprings
}

type keptSprings struct {
	mark    string
	springs [][]forecast.DripSpring
}

// windowsOf are the hours for classes, each once; nine to noon where nobody has set any.
func windowsOf(school []forecast.Free) (out []forecast.Free) {
	for _, one := range school {
		known := false
		for _, w := range out {
			known = known || w.From == one.From && w.To == one.To
		}
		if !known {
			out = append(out, one)
		}
	}
	if len(out) == 0 {
		out = []forecast.Free{{From: 9 * time.Hour, To: 12 * time.Hour}}
	}
	return out
}

func (v *view) windowText(f forecast.Free) string {
	at := func(d time.Duration) string {
		return v.words.Time(time.Date(2026, 1, 1, 0, int(d.Minutes()), 0, 0, v.Site.Zone))
	}
	return at(f.From) + "–" + at(f.To)
}

// schoolWeeks are the Mondays from the middle of February to the end of April that are still
// to come: of this year, else of the next.
func schoolWeeks(here time.Time) (out []time.Time) {
	for year := here.Year(); len(out) == 0; year++ {
		last := time.Date(year, time.April, 27, 0, 0, 0, 0, here.Location())
		for day := time.Date(year, time.February, 15, 0, 0, 0, 0, here.Location()); !day.After(last); day = day.AddDate(0, 0, 1) {
			if day.Weekday() == time.Monday && day.After(here.AddDate(0, 0, -5)) {
				out = append(out, day)
			}
		}
	}
	return out
}

// visitRow puts a plan into words.
func (v *view) visitRow(c *forecast.ClassPlan, o *forecast.Outlook) visitRow {
	row := visitRow{ID: c.ID, When: v.Day(c.From) + ", " + v.words.Time(c.From) + "–" + v.words.Time(c.To),
		Verdict: v.T("class_programme_" + string(c.Programme))}
	if c.Danger != nil {
		row.Off, row.Why = true, v.T("class_danger_"+string(c.Danger.What))
		return row
	}
	if c.Boils == "syrup" {
		row.Why = v.T("class_boils_syrup")
	}
	if c.HoldFrom != nil {
		row.Hold = append(row.Hold, v.T("class_hold_sap", "Volume", v.Volume(c.SapL), "Day", v.Day(*c.HoldFrom)))
	}
	row.Hold = append(row.Hold, v.T("class_hold_syrup", "Volume", v.Volume(c.SyrupL)))
	if c.WoodCords > 0 {
		row.Hold = append(row.Hold, v.T("class_hold_wood", "Wood",
			v.words.Number(strconv.FormatFloat(math.Ceil(c.WoodCords*100)/100, 'f', 2, 64))))
	}
	if c.GasL > 0 {
		row.Hold = append(row.Hold, v.T("class_hold_gas", "Volume", v.Volume(c.GasL)))
	}
	if c.HaveSapL != nil {
		row.Hold = append(row.Hold, v.T("class_have", "Sap", v.Volume(*c.HaveSapL), "Syrup", v.Volume(c.HaveSyrup)))
	}
	row.Likely = v.T("class_far")
	if c.Drips != nil {
		drips, differs := v.words.ClassDrips(*c.Drips, c.From.In(v.Site.Zone).Format(time.DateOnly), o)
		row.Likely = v.T("class_likely", "Drips", strings.TrimSpace(drips+" "+differs), "Feels", units.Temperature(*c.FeelsC, v.system))
	}
	if next := c.NextStep(); next > 0 {
		row.Again = v.N("class_again", next)
	}
	for _, one := range c.Order() {
		row.Order = append(row.Order, v.words.Time(one.At)+" "+v.T("class_do_"+one.What))
	}
	return row
}

// book takes a visit, or takes it back.
func (p *Pages) bookClass(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	done := "done_class"
	var err error
	if id := r.PostFormValue("take_back"); id != "" {
		done = "done_class_undone"
		err = p.Intake.WithdrawClass(r.Context(), v.Site, v.writer(), id)
	} else {
		var c records.ClassVisit
		if c, err = readClass(r, v.Site.Zone); err == nil {
			_, _, err = p.Intake.BookClass(r.Context(), v.Site, v.writer(), c, p.Now())
		}
	}
	var fault *records.ClassFault
	switch {
	case errors.As(err, &fault):
		v.Title, v.Body = v.T("fault_title"), v.T("class_fault_"+fault.Kind)
		p.send(w, r, http.StatusUnprocessableEntity, "fault", v)
	case errors.Is(err, intake.ErrNotAllowed):
		p.fault(w, r, http.StatusForbidden, "fault_not_yours")
	case errors.Is(err, archive.ErrNoEntry):
		p.fault(w, r, http.StatusNotFound, "fault_no_record")
	case err != nil:
		p.failed(w, r, err)
	default:
		http.Redirect(w, r, v.At("/school?done="+done), http.StatusSeeOther)
	}
}

func readClass(r *http.Request, zone *time.Location) (c records.ClassVisit, err error) {
	if c, err = records.ReadClass(r.PostFormValue("day"), r.PostFormValue("from"), r.PostFormValue("to"), zone); err != nil {
		return c, err
	}
	if text := r.PostFormValue("learners"); text != "" {
		if c.Learners, err = strconv.Atoi(text); err != nil {
			return c, &records.ClassFault{Kind: "learners"}
		}
	}
	return c, nil
}

// schoolICS are the visits that are booked, as iCalendar: one that danger calls off says so.
func (p *Pages) schoolICS(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	o := p.current(r.Context(), v)
	var entries []feed.Entry
	for i := 0; o != nil && i < len(o.Classes); i++ {
		c := &o.Classes[i]
		row := v.visitRow(c, o)
		text := row.Verdict
		for _, more := range append(append([]string{row.Why}, row.Hold...), row.Order...) {
			if more != "" {
				text += "\n" + more
			}
		}
		entries = append(entries, feed.Entry{UID: feed.UID(v.Site.ID, "class", c.ID), Sequence: int(o.IssuedAt.Unix() - 1_700_000_000),
			Changed: o.IssuedAt, Start: c.From, End: c.To,
			Summary: v.T("class_summary", "Name", v.Site.Name), Text: text, CalledOff: row.Off})
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Cache-Control", "private, no-cache")
	_, _ = w.Write([]byte(feed.Calendar(v.Site.Name, entries)))
}
