package web

import (
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// crewBody is who goes when, for those who gather.
type crewBody struct {
	Mine, Soon            []crewDay // of today and tomorrow, and the reader's next ones
	MineLater, Later      []crewDay
	MineTitle, LaterTitle string // of those later
	Summary               string
	Short, Off            []string // what is short, and what can't be any more
	TipOut                string   // which groups have sap that has gone bad
	Left                  []string // groups, with what hangs
	Away                  []saidRow
}

// crewDay is the rounds of one day, with what they bring in.
type crewDay struct {
	Title, Total string
	Rounds       []roundBlock
	sapL         float64
}

// roundBlock is one round of a plan.
type roundBlock struct {
	Start, End, Who, Date string
	Mine, Going           bool
	Loads                 []groupLoad
	Total, Effort         string
	From, To              string // RFC 3339, for forms
	Page                  string // to come back to, "" for the rounds
	Forms                 []crewForm
}

type groupLoad struct{ ID, Name, Amount string }

// crewForm is what can be said of a round by, or for, one person.
type crewForm struct {
	Person, Key string
	With        []string
	Undo        string // id of what was said, "" where nothing was
	Buttons     []crewButton
}

type crewButton struct {
	Do, Text    string
	Main, Quiet bool
}

// saidRow is that somebody can't, with the id by which it is taken back, "" for those who
// may not.
type saidRow struct{ Text, ID string }

// crew is the plan of an outlook as its rounds, the reader's own first.
func (p *Pages) crew(r *http.Request, v *view, o *forecast.Outlook) (*crewBody, error) {
	said, err := p.Intake.Attendance(r.Context(), v.Site, p.Now())
	if err != nil {
		return nil, err
	}
	c := &crewBody{Short: sections.ShortOf(o, v.words, v.system), Off: sections.OffRounds(o, v.words)}
	if parts := named(sections.OfRounds(o, v.words, v.system), sections.Rounds); len(parts) > 0 {
		c.Summary = parts[0].Title
	}
	me := intake.Helper(v.Site, &v.Identity)
	later, mine := 0, 0
	soon := p.Now().In(v.Site.Zone).AddDate(0, 0, 1).Format(time.DateOnly)
	for i := range o.Work.Rounds {
		round := &o.Work.Rounds[i]
		if !round.End.After(p.Now()) {
			continue
		}
		b := v.block(o, round, said, me.ID)
		list := &c.Soon
		switch {
		case b.Mine && len(c.Mine) > 0 && b.Date > soon:
			mine++
			list = &c.MineLater
		case b.Mine:
			list = &c.Mine
		case b.Date > soon:
			later++
			list = &c.Later
		}
		v.addRound(list, round.SapL(), b, round.Start, p.Now())
	}
	c.LaterTitle, c.MineTitle = v.N("crew_later", later), v.N("crew_mine_later", mine)
	for i := range said {
		if said[i].Kind == records.Away {
			c.Away = append(c.Away, v.away(&said[i]))
		}
	}
	c.TipOut, c.Left = v.words.TipOut(o), v.leftOut(o)
	return c, nil
}

// addRound puts a round under its day.
func (v *view) addRound(list *[]crewDay, sapL float64, b roundBlock, start, now time.Time) {
	title := v.Day(start)
	switch b.Date {
	case now.In(v.Site.Zone).Format(time.DateOnly):
		title = v.T("crew_today", "Day", title)
	case now.In(v.Site.Zone).AddDate(0, 0, 1).Format(time.DateOnly):
		title = v.T("crew_tomorrow", "Day", title)
	}
	if k := len(*list) - 1; k < 0 || (*list)[k].Title != title {
		*list = append(*list, crewDay{Title: title})
	}
	day := &(*list)[len(*list)-1]
	if len(day.Rounds) > 0 { // once a day
		for i := range b.Forms {
			b.Forms[i].Buttons = slices.DeleteFunc(b.Forms[i].Buttons, func(one crewButton) bool { return one.Do == "day" })
		}
	}
	day.Rounds, day.sapL = append(day.Rounds, b), day.sapL+sapL
	if len(day.Rounds) > 1 && day.sapL >= littleL {
		day.Total = v.rough(day.sapL)
	}
}

// littleL is less than anybody carries.
const littleL = 1

func (v *view) rough(litres float64) string {
	n, unit := v.words.RoughVolume(litres)
	return n + " " + unit
}

// block is a round as a reader sees it, with what they can say of it.
func (v *view) block(o *forecast.Outlook, r *forecast.CrewRound, said []archive.StoredAttendance, me string) roundBlock {
	b := roundBlock{Mine: me != "" && slices.Contains(r.Who, me), Going: r.Pinned, Date: r.Start.Format(time.DateOnly),
		From: r.Start.Format(time.RFC3339), To: r.End.Format(time.RFC3339)}
	b.Start, b.End = v.words.Hours(r.Start, r.End)
	var names []string
	for _, id := range r.Who {
		if id == me && me != "" {
			names = append([]string{v.T("crew_you")}, names...)
			continue
		}
		names = append(names, o.Bush.PersonName(id))
	}
	b.Who = v.words.Joined(names)
	for _, g := range r.Groups {
		one := groupLoad{ID: g.Group, Name: v.words.GroupName(&o.Bush, g.Group), Amount: v.rough(g.VolumeL)}
		if g.TipOut {
			one.Amount = v.T("crew_tip_out")
		} else if g.Share < 0.995 {
			one.Amount = v.T("crew_share", "Share", int(math.Round(100*g.Share)), "Amount", one.Amount)
		}
		b.Loads = append(b.Loads, one)
	}
	if sap := r.SapL(); sap >= littleL && len(r.Groups) > 1 {
		b.Total = v.rough(sap)
	}
	const nearest = 5 // minutes: nobody knows better
	minutes := (r.Minutes + nearest - 1) / nearest * nearest
	b.Effort = v.words.Plural("trips", r.Trips) + ", " + v.T("crew_minutes", "Hours", minutes/60, "Minutes", minutes%60)
	if minutes < 60 {
		b.Effort = v.words.Plural("trips", r.Trips) + ", " + v.T("crew_minutes_only", "Minutes", minutes)
	}
	b.Forms = v.formsOf(o, r, said, me)
	if b.Mine && len(b.Forms) > 0 && b.Forms[0].Undo == "" {
		b.Going = false // somebody else on it has said so
	}
	return b
}

// formsOf are what a reader can say of a round: helpers of themselves, keepers of everybody
// on it.
func (v *view) formsOf(o *forecast.Outlook, r *forecast.CrewRound, said []archive.StoredAttendance, me string) []crewForm {
	if !v.Identity.Role.May(auth.Crew) {
		return nil
	}
	keeper := v.Identity.Role.May(auth.Keeper)
	undoOf := func(person string) string {
		for i := range said {
			if s := &said[i]; s.Kind == records.Going && s.Person == person && s.From.Equal(r.Start) {
				return s.ID
			}
		}
		return ""
	}
	form := func(person string, buttons ...crewButton) crewForm {
		f := crewForm{Person: person, Key: uuid.NewString(), Undo: undoOf(person)}
		for _, b := range buttons {
			if b.Do != "going" || f.Undo == "" {
				f.Buttons = append(f.Buttons, b)
			}
		}
		if slices.Contains(r.Who, person) {
			f.With = slices.DeleteFunc(slices.Clone(r.Who), func(id string) bool { return id == person })
		}
		return f
	}
	day := crewButton{Do: "day", Text: v.T("crew_not_that_day", "Day", v.words.Weekday(r.Start)), Quiet: true}
	var forms []crewForm
	switch {
	case len(r.Who) == 0:
		buttons := []crewButton{{Do: "going", Text: v.T("crew_go"), Main: true}}
		if keeper {
			buttons = append(buttons, crewButton{Do: "nobody", Text: v.T("crew_nobody_can")})
		}
		forms = append(forms, form(me, buttons...))
	case me != "" && slices.Contains(r.Who, me):
		forms = append(forms, form(me, crewButton{Do: "going", Text: v.T("crew_go"), Main: true},
			crewButton{Do: "away", Text: v.T("crew_cannot")}, day))
	case me != "" && !r.Pinned:
		forms = append(forms, form(me, crewButton{Do: "going", Text: v.T("crew_go_instead"), Quiet: true}))
	}
	for _, id := range r.Who {
		if keeper && id != me {
			name := o.Bush.PersonName(id)
			forms = append(forms, form(id, crewButton{Do: "going", Text: v.T("crew_goes", "Name", name)},
				crewButton{Do: "away", Text: v.T("crew_goes_not", "Name", name)}))
		}
	}
	return forms
}

// away is that somebody can't.
func (v *view) away(a *archive.StoredAttendance) saidRow {
	start, end := v.words.Hours(a.From, a.To)
	me := intake.Helper(v.Site, &v.Identity).ID
	key, name := "crew_away", a.Name
	switch day := a.To.Sub(a.From) > 20*time.Hour; {
	case a.Person == "":
		key = "crew_away_nobody"
	case a.Person == me && day:
		key = "crew_away_day_you"
	case a.Person == me:
		key = "crew_away_you"
	case day:
		key = "crew_away_day"
	}
	row := saidRow{Text: v.T(key, "Name", name, "Day", v.Day(a.From), "Time", start, "End", end)}
	if intake.SpeaksFor(v.Site, &v.Identity, a.Person) {
		row.ID = a.ID
	}
	return row
}

// risky is the chance from which it is said that a group to which nobody goes may run over.
const risky = 0.2

// leftOut are the groups that nobody goes to, but for those whose sap is to be tipped out.
func (v *view) leftOut(o *forecast.Outlook) (left []string) {
	for i := range o.Work.Groups {
		g := &o.Work.Groups[i]
		name := v.words.GroupName(&o.Bush, g.Group)
		switch {
		case g.Pulled || g.Untapped || g.Decision == forecast.TipOut:
		case g.Decision == forecast.Leave && g.OverflowProbability >= risky:
			left = append(left, v.T("crew_left_risky", "Group", name, "Amount", v.rough(g.HeldL.P50), "Chance",
				units.Chance(g.OverflowProbability)))
		case g.Decision == forecast.Leave && g.HeldL.P50 >= littleL:
			left = append(left, v.T("crew_left", "Group", name, "Amount", v.rough(g.HeldL.P50)))
		case g.Decision == forecast.Leave || g.Decision == forecast.NoWork:
			left = append(left, v.T("crew_left_nothing", "Group", name))
		}
	}
	return left
}

// attend takes that somebody makes a round, or can't, or takes back what they said: from a
// form, or from a phone that kept it while there was no signal.
func (p *Pages) attend(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	said, wrong := readAttendance(r, v)
	key, do := r.PostFormValue("key"), r.PostFormValue("do")
	done, page := "done_going", "/rounds"
	if r.PostFormValue("page") == pageTonight {
		page = ""
	}
	var err error
	switch {
	case do == "undo":
		done = "done_attend_undone"
		_, err = p.Intake.TakeBack(r.Context(), v.Site, v.writer(), r.PostFormValue("id"), p.Now())
	case wrong || !keyForm.MatchString(key):
		p.fault(w, r, http.StatusUnprocessableEntity, "entry_wrong_form")
		return
	default:
		if said.Kind == records.Away {
			done = "done_away"
		}
		_, _, err = p.Intake.Attend(r.Context(), v.Site, v.writer(), said, key, p.Now())
	}
	asks := strings.Contains(r.Header.Get("Accept"), "application/json")
	status, say := http.StatusOK, v.T(done)
	var fault *intake.AttendanceFault
	switch {
	case errors.Is(err, intake.ErrBarred), errors.Is(err, intake.ErrOfOthers):
		status, say = http.StatusForbidden, v.T(err.(*intake.AttendanceFault).Key) //nolint:errorlint // it is one of the two
	case errors.As(err, &fault):
		status, say = http.StatusUnprocessableEntity, v.T(fault.Key)
	case err != nil:
		p.Log.Error("what somebody said of a round was not kept", "site", v.Site.ID, "error", err)
		status, say = http.StatusServiceUnavailable, v.T("fault_here")
	}
	switch {
	case asks:
		w.Header().Set("Content-Type", "application/json")
		if status == http.StatusForbidden {
			status = http.StatusUnprocessableEntity // to log in again would not help
		}
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(map[string]any{"say": say, "again": v.At(page + "?done=" + done)})
	case status == http.StatusOK:
		http.Redirect(w, r, v.At(page+"?done="+done), http.StatusSeeOther)
	default:
		v.Title, v.Body = v.T("fault_title"), say
		p.send(w, r, status, "fault", v)
	}
}

// readAttendance reads what a form says of a round.
func readAttendance(r *http.Request, v *view) (said records.Attendance, wrong bool) {
	if r.ParseForm() != nil {
		return said, true
	}
	form := r.PostForm
	from, err1 := time.Parse(time.RFC3339, form.Get("from"))
	to, err2 := time.Parse(time.RFC3339, form.Get("to"))
	said = records.Attendance{Kind: records.Away, Person: form.Get("person"), From: from, To: to}
	switch form.Get("do") {
	case "going":
		said.Kind, said.Groups, said.With = records.Going, form["groups"], form["with"]
	case "away":
	case "nobody":
		said.Person = ""
	case "day":
		y, m, d := from.In(v.Site.Zone).Date()
		said.From, said.To = time.Date(y, m, d, 0, 0, 0, 0, v.Site.Zone), time.Date(y, m, d+1, 0, 0, 0, 0, v.Site.Zone)
	default:
		wrong = true
	}
	return said, wrong || err1 != nil || err2 != nil
}
