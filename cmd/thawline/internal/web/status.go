package web

import (
	"cmp"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/forecast"
)

type statusBody struct {
	Fix        []string // what somebody should look after
	Recipients string   // how many people messages reach, "" for those whom that does not concern
	Sources    []sourceRow
	About      []sourceNotes
	More       link // how many bushes are not listed, without text where all are
	Jobs       []jobRow
	Messages   []messages // the newest, and folded below them those before
}

type messages struct {
	Before string // how many the fold holds, "" for the newest
	Rows   []deliveryRow
}

// newestMessages is how many stand open: a phone shows three on a screen.
const newestMessages = 6

type sourceRow struct {
	Name, Source, Issued, Age string
	Old                       bool
}

// sourceNotes are the services that were passed over, and what was missing or estimated, of bushes
// of which the same is to be said.
type sourceNotes struct {
	Source string
	Names  []string // none where all bushes of the page have them
	Notes  []string
}

type jobRow struct{ Site, Job, Done, Next, Fault string }

type deliveryRow struct {
	When, Kind, Person, State, Words, Said, Seen string
	Bad                                          bool
}

// mostStanding is how many bushes, and how many mistakes, the page tells of.
const mostStanding = 50

// status is how things stand: the weather's sources and age, what runs when, and
// for those who look after it, what became of each message. Nobody's number is
// on it.
func (p *Pages) status(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "status")
	v.Title = v.T("nav_status")
	b := &statusBody{}
	now := p.Now()
	names := p.statusSources(r, v, b, now)
	jobs, fault := p.Outlooks.Standings()
	if fault != "" && v.May("keeper") && v.Identity.SeesAll() {
		b.Fix = append(b.Fix, v.T("fix_settings")+" "+v.words.Phrase(fault))
	}
	if v.May("keeper") && v.Identity.SeesAll() {
		p.statusRecipients(v, b)
	}
	p.statusJobs(v, b, jobs, names)
	if v.Identity.Role.May(auth.Keeper) {
		list, err := p.deliveries(r, v, names)
		if err != nil {
			p.failed(w, r, err)
			return
		}
		for _, d := range list {
			if said := v.T("fix_delivery", "Name", d.Person, "When", d.When); d.Bad && !slices.Contains(b.Fix, said) {
				b.Fix = append(b.Fix, said)
			}
		}
		if newest := min(newestMessages, len(list)); newest > 0 {
			b.Messages = []messages{{Rows: list[:newest]}}
			if before := list[newest:]; len(before) > 0 {
				b.Messages = append(b.Messages, messages{v.N("status_before", len(before)), before})
			}
		}
	}
	v.Body = b
	p.send(w, r, http.StatusOK, "status", v)
}

// statusSources lists whose weather each site that somebody sees has, and what of it wants
// mending. It returns the names of those sites by id.
func (p *Pages) statusSources(r *http.Request, v *view, b *statusBody, now time.Time) map[string]string {
	names, more := map[string]string{}, 0
	for _, s := range p.Outlooks.Sites() {
		if !v.Identity.Sees(s.ID) {
			continue
		}
		if len(names) == mostStanding {
			more++
			continue
		}
		names[s.ID] = s.Name
		o := p.Outlooks.Outlook(r.Context(), s.ID)
		if o == nil {
			b.Fix = append(b.Fix, v.T("fix_no_outlook", "Name", s.Name))
			continue
		}
		age := now.Sub(o.Source.IssuedAt)
		b.Sources = append(b.Sources, sourceRow{Name: s.Name, Source: v.words.Service(o.Source.Name),
			Issued: v.Moment(o.Source.IssuedAt.In(s.Zone)),
			Age:    v.words.Age(age.Hours()), Old: o.Source.Kept || age > 24*time.Hour})
		b.about(s.Name, v.words.Service(o.Source.Name), aboutSource(v, &o.Source))
		if o.Source.Kept || age > 24*time.Hour {
			b.Fix = append(b.Fix, v.T("fix_old_weather", "Name", s.Name))
		}
	}
	if len(b.About) == 1 && len(b.About[0].Names) == len(names) && len(names) > 1 {
		b.About[0].Names = nil
	}
	if more > 0 {
		b.More.Text = v.N("status_more", more)
		if v.May("keeper") && v.Identity.SeesAll() {
			b.More.Href = v.Base + "/desk"
		}
	}
	return names
}

// about adds what is to be said of a bush's weather, with those of which it is said already.
func (b *statusBody) about(name, source string, notes []string) {
	if len(notes) == 0 {
		return
	}
	for i := range b.About {
		if one := &b.About[i]; one.Source == source && slices.Equal(one.Notes, notes) {
			one.Names = append(one.Names, name)
			return
		}
	}
	b.About = append(b.About, sourceNotes{source, []string{name}, notes})
}

// statusRecipients says whom messages reach, and what of the settings was left out.
func (p *Pages) statusRecipients(v *view, b *statusBody) {
	to := p.Outlooks.Recipients()
	b.Recipients = v.N("recipients", to.Reached)
	if to.Nobody() {
		b.Fix = append(b.Fix, v.T("recipients_none"))
	}
	for i, line := range p.Outlooks.LeftOut() {
		if i == mostStanding {
			break
		}
		b.Fix = append(b.Fix, v.T("fix_left_out")+" "+v.words.Phrase(line))
	}
	for _, err := range p.settings.Load().Catalogue.LeftOut {
		b.Fix = append(b.Fix, v.T("fix_words")+" "+v.words.Phrase(err.Error()))
	}
}

// statusJobs lists the jobs of the sites named, and the faults of them.
func (p *Pages) statusJobs(v *view, b *statusBody, jobs []daemon.Standing, names map[string]string) {
	var wrong []string // ids of bushes, in the order of their jobs
	of := map[string][]string{}
	for _, j := range jobs {
		name, seen := names[j.Site]
		if !seen {
			continue
		}
		row := jobRow{Site: name, Job: v.T("job_" + j.Job), Next: v.Moment(j.Next.In(p.zone(j.Site))), Done: "–"}
		if !j.Done.IsZero() {
			row.Done = v.Moment(j.Done.In(p.zone(j.Site)))
		}
		if j.Fault != "" {
			if of[j.Site] == nil {
				wrong = append(wrong, j.Site)
			}
			of[j.Site] = append(of[j.Site], row.Job)
			if v.May("keeper") {
				row.Fault = v.words.Phrase(j.Fault)
			}
		}
		b.Jobs = append(b.Jobs, row)
	}
	for _, id := range wrong { // one cause, as a rule
		b.Fix = append(b.Fix, v.T("fix_job", "Job", strings.Join(of[id], ", "), "Name", names[id]))
	}
}

func aboutSource(v *view, s *forecast.Source) []string {
	var out []string
	for _, over := range s.PassedOver {
		out = append(out, v.words.PassedOver(over))
	}
	for i := range s.Remarks {
		out = append(out, v.words.Remark(&s.Remarks[i]))
	}
	return out
}

func (p *Pages) zone(site string) *time.Location {
	for _, s := range p.Outlooks.Sites() {
		if s.ID == site {
			return s.Zone
		}
	}
	return time.UTC
}

func (p *Pages) deliveries(r *http.Request, v *view, names map[string]string) ([]deliveryRow, error) {
	const most = 40
	recent, err := p.Messages.RecentOf(r.Context(), slices.Sorted(maps.Keys(names)), most)
	if err != nil {
		return nil, err
	}
	people := p.settings.Load().Names
	var out []deliveryRow
	for i := range recent {
		d := &recent[i]
		zone := p.zone(d.Site)
		row := deliveryRow{When: v.Moment(d.MadeAt.In(zone)), Kind: v.T("kind_" + string(d.Kind)), Person: cmp.Or(d.Person, "–"),
			State: v.T("state_" + string(d.State)),
			Words: d.Words, Bad: d.State == ledger.Failed && !d.Beyond()}
		if name := people[d.Person]; name != "" {
			row.Person = name
		}
		if !d.AckedAt.IsZero() {
			row.Seen = v.Moment(d.AckedAt.In(zone))
		}
		if tries, err := p.Messages.Attempts(r.Context(), d.ID); err == nil && len(tries) > 0 && d.State != ledger.Sent {
			last := tries[len(tries)-1]
			row.Said = last.Channel + ": " + last.Said
		}
		out = append(out, row)
	}
	return out, nil
}
