package members

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/secret"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
)

// Desk is what an association's office does with its members, whichever way it is asked:
// page, API, CSV or command.
type Desk struct {
	*Store
	Archive *archive.Archive
	Ledger  *ledger.Ledger
	Auth    *auth.Service
	// Base are the settings without anybody of the database.
	Base func() *config.Config
	// Catalogue are the words for what the office says, as they are now.
	Catalogue func() (*message.Catalogue, error)
	adding    sync.Mutex
	adder     config.Adder // remembers what became of whom the database keeps

	// Folders hold what services said, by file, where it is not kept in the database: the last
	// forecasts, by url.QueryEscape of what they are of, and answers that may be asked for
	// again. "" where there are none.
	LastForecasts, Answers string
}

// Joined are settings with everybody whom the database keeps now, and how many changes to
// those they are of. Only who has changed since the last time is read.
func (d *Desk) Joined(ctx context.Context, base *config.Config) (whole *config.Config, number int64, err error) {
	d.adding.Lock()
	defer d.adding.Unlock()
	described, number, err := d.Described(ctx)
	if err != nil {
		return nil, 0, err
	}
	return d.adder.Add(base, described), number, nil
}

// Wrong is what keeps descriptions from being taken.
type Wrong []config.Problem

func (w Wrong) Error() string { return config.Errors(w).Error() }

// settled are the settings with everybody of the database, but with list in place of whom
// it names, and what is wrong with those.
func (d *Desk) settled(ctx context.Context, list []Kept) (*config.Config, Wrong, error) {
	all, err := d.beside(ctx, list)
	if err != nil {
		return nil, nil, err
	}
	named := map[string]bool{}
	var described []config.Described
	for i := range list {
		named[list[i].Kind+" "+list[i].ID] = true
		described = append(described, list[i].Described)
	}
	for i := range all {
		if !named[all[i].Kind+" "+all[i].ID] {
			described = append(described, all[i].Described)
		}
	}
	c := *d.Base()
	c.Warnings = nil
	c.Add(described)
	var wrong Wrong
	for _, p := range c.Warnings {
		if p.LeftOut && named[p.File] {
			wrong = append(wrong, p)
		}
	}
	return &c, wrong, nil
}

// few is how many are checked beside the bushes that they name alone: what else is kept
// says nothing of them.
const few = 16

// beside are those of the database who matter to what list says: all for a long one.
func (d *Desk) beside(ctx context.Context, list []Kept) ([]Kept, error) {
	if len(list) > few {
		return d.All(ctx)
	}
	var out []Kept
	for i := range list {
		for _, id := range idsOf(list[i].Values["sites"]) {
			b, err := d.One(ctx, config.Bush, id)
			if errors.Is(err, ErrNone) {
				continue // of the settings file, or gone
			}
			if err != nil {
				return nil, err
			}
			if !slices.ContainsFunc(out, func(k Kept) bool { return k.ID == id }) {
				out = append(out, b)
			}
		}
	}
	return out, nil
}

// Save adds or changes bushes and people, all of them or, with a Wrong, none.
func (d *Desk) Save(ctx context.Context, list []Kept, by Author, now time.Time) (added, changed int, err error) {
	_, wrong, err := d.settled(ctx, list)
	if err != nil {
		return 0, 0, err
	}
	if len(wrong) > 0 {
		return 0, 0, wrong
	}
	return d.Put(ctx, list, by, now)
}

// Imported is what came of a table.
type Imported struct {
	Added   int      `json:"added"`
	Changed int      `json:"changed"`
	Same    int      `json:"same"`
	LeftOut []string `json:"left_out"` // what is wrong, by line or member
	Invited []Invite `json:"invited,omitempty"`
}

// Import takes a CSV table: what is wrong is left out and told, the rest is taken. What
// nobody changed is not touched, so that a table may come again. The people whom it adds
// are invited by the given way.
func (d *Desk) Import(ctx context.Context, name string, data []byte, invite string, by Author, now time.Time) (*Imported, error) {
	described, problems := config.ReadMembers(name, data)
	list := make([]Kept, len(described))
	for i := range described {
		list[i] = Kept{Described: described[i], Revision: Any}
	}
	_, wrong, err := d.settled(ctx, list)
	if err != nil {
		return nil, err
	}
	out := &Imported{LeftOut: []string{}}
	for _, p := range append(problems, wrong...) {
		out.LeftOut = append(out.LeftOut, p.String())
	}
	bad := map[string]bool{}
	for _, p := range wrong {
		bad[p.File] = true
	}
	list = slices.DeleteFunc(list, func(k Kept) bool { return bad[k.Kind+" "+k.ID] })
	before, err := d.All(ctx)
	if err != nil {
		return nil, err
	}
	known := map[string]bool{}
	for i := range before {
		known[before[i].Kind+" "+before[i].ID] = true
	}
	if out.Added, out.Changed, err = d.Put(ctx, list, by, now); err != nil {
		return nil, err
	}
	out.Same = len(list) - out.Added - out.Changed
	var fresh []string
	for i := range list {
		if k := &list[i]; k.Kind == config.Member && !known[k.Kind+" "+k.ID] {
			fresh = append(fresh, k.ID)
		}
	}
	if invite != "" && len(fresh) > 0 {
		out.Invited, err = d.Invite(ctx, fresh, invite, by, now)
	}
	return out, err
}

// The ways to invite.
const (
	InviteByLink = "link" // which the office hands over
	InviteByText = "text" // by the person's own ways
)

// Invite is a link by which somebody chooses a password, once.
type Invite struct {
	Person string `json:"person"`
	Link   string `json:"link,omitempty"` // not where it was sent
	Sent   bool   `json:"sent"`
}

const inviteDays = 7

// inviteName begins the names of decisions that are invitations: what they say is nobody
// else's to read.
const inviteName = "invite:"

// Invite lets people choose a password: by a link each, or by a message with it to those
// who have a way. Whoever was invited before may use either link.
func (d *Desk) Invite(ctx context.Context, ids []string, way string, by Author, now time.Time) ([]Invite, error) {
	if way != InviteByLink && way != InviteByText {
		return nil, fmt.Errorf("%s: no such way to invite; write %s or %s", way, InviteByLink, InviteByText)
	}
	catalogue, err := d.Catalogue() // once: it is read from files
	if err != nil {
		return nil, err
	}
	c, _, err := d.Joined(ctx, d.Base())
	if err != nil {
		return nil, err
	}
	people, sites := map[string]*config.Person{}, map[string]*forecast.Site{}
	for i := range c.People {
		people[c.People[i].ID] = &c.People[i]
	}
	for i := range c.Sites {
		sites[c.Sites[i].ID] = &c.Sites[i]
	}
	var guests []auth.Person
	for _, id := range ids {
		p := people[id]
		if p == nil {
			return nil, fmt.Errorf("%s: %w", id, ErrNone)
		}
		guests = append(guests, auth.Person{ID: p.ID, Name: p.Name, Role: auth.Role(p.Role)})
	}
	tokens, err := d.Auth.MakeLinks(ctx, guests, inviteDays, by.Name)
	if err != nil {
		return nil, err
	}
	out := make([]Invite, len(ids))
	var tellings []ledger.Telling
	var log []Change
	for i, id := range ids {
		p := people[id]
		out[i] = Invite{Person: id, Link: d.Auth.Address("/l/" + tokens[i])}
		if t := invitation(catalogue, p, sites, out[i].Link, now); way == InviteByText && t != nil {
			tellings = append(tellings, *t)
			out[i].Sent, out[i].Link = true, ""
		}
		log = append(log, Change{Kind: config.Member, Member: id, What: Invited, By: by.Name, Way: by.Way, At: now})
	}
	if len(tellings) > 0 {
		if _, err := d.Ledger.RecordAll(ctx, tellings, now); err != nil {
			return nil, err
		}
	}
	return out, d.Note(ctx, log)
}

// invitation is the message with a link, nil for who has no way or no bush.
func invitation(catalogue *message.Catalogue, p *config.Person, sites map[string]*forecast.Site, link string,
	now time.Time) *ledger.Telling {
	if len(p.Channels) == 0 || len(p.Sites) == 0 || sites[p.Sites[0]] == nil || !strings.Contains(link, "://") {
		return nil
	}
	w, err := catalogue.Words(p.Reader)
	if err != nil {
		return nil
	}
	site := sites[p.Sites[0]]
	to := ledger.Recipient{Person: p.ID,
		Words:     w.Say("desk_invitation", map[string]any{"Name": p.Name, "Bush": site.Name, "Link": link}),
		NotBefore: p.Quiet.End(now.In(site.Zone))}
	return &ledger.Telling{To: []ledger.Recipient{to},
		Decision: alerts.Decision{Kind: alerts.Reply, Site: site.ID, Key: inviteName + p.ID + ":" + now.UTC().Format(time.RFC3339),
			Until: now.AddDate(0, 0, inviteDays), Why: []string{"the office invited"}}}
}

var pauseForm = regexp.MustCompile(`^([0-9]{1,3})\s*(?:d|days?|j|jours?)?$`)

// mostPausedDays is until the same day of the next season.
const mostPausedDays = 366

// ReadPause reads how long somebody wants no messages: "5 days", a date, or "no" for no
// pause any more. It returns the date of the first day with messages, "" for no pause.
func ReadPause(text string, now time.Time, zone *time.Location) (until string, err error) {
	text = strings.ToLower(strings.TrimSpace(text))
	if text == "" || text == "no" || text == "0" || text == "non" {
		return "", nil
	}
	if m := pauseForm.FindStringSubmatch(text); m != nil {
		if days, err := strconv.Atoi(m[1]); err == nil && days <= mostPausedDays {
			return now.In(zone).AddDate(0, 0, days).Format(time.DateOnly), nil
		}
	}
	if day, err := time.ParseInLocation(time.DateOnly, text, zone); err == nil && day.Sub(now) <= mostPausedDays*24*time.Hour {
		return text, nil
	}
	return "", &units.ParseError{Text: text, What: "not a pause",
		Remedy: "write it like 5 days, or the day on which messages come again, such as 2026-04-02; no for none"}
}

// Pause keeps messages from somebody: "5 days", until a date, or "no" to end it. It
// returns the day on which they come again, "" for now.
func (d *Desk) Pause(ctx context.Context, person, text string, by Author, now time.Time) (until string, err error) {
	k, err := d.One(ctx, config.Member, person)
	if err != nil {
		return "", err
	}
	c, _, err := d.settled(ctx, []Kept{k})
	if err != nil {
		return "", err
	}
	zone := time.UTC
	for i := range c.Sites {
		if listed(k.Values["sites"], c.Sites[i].ID) {
			zone = c.Sites[i].Zone
			break
		}
	}
	if until, err = ReadPause(text, now, zone); err != nil {
		return "", err
	}
	if delete(k.Values, "paused_until"); until != "" {
		k.Values["paused_until"] = until
	}
	_, _, err = d.Save(ctx, []Kept{k}, by, now)
	return until, err
}

// listed reports whether a list of the settings, in any of its forms, has an id.
func listed(list any, id string) bool { return slices.Contains(idsOf(list), id) }

// idsOf are the ids of a list of the settings, in any of its forms.
func idsOf(list any) (ids []string) {
	switch given := list.(type) {
	case []any:
		for _, one := range given {
			ids = append(ids, fmt.Sprint(one))
		}
	case string:
		for one := range strings.SplitSeq(given, ",") {
			ids = append(ids, strings.TrimSpace(one))
		}
	}
	return ids
}

// housesOf are the bushes of a person, and of those the ones that nobody else has.
func housesOf(all []Kept, person *Kept) (bushes, alone []string) {
	for i := range all {
		if b := &all[i]; b.Kind == config.Bush && listed(person.Values["sites"], b.ID) {
			bushes = append(bushes, b.ID)
			if !slices.ContainsFunc(all, func(k Kept) bool {
				return k.Kind == config.Member && k.ID != person.ID && listed(k.Values["sites"], b.ID)
			}) {
				alone = append(alone, b.ID)
			}
		}
	}
	return bushes, alone
}

// Give returns everything that is kept of a person, and of the bushes that are theirs.
func (d *Desk) Give(ctx context.Context, person string, by Author, now time.Time) (map[string]any, error) {
	all, err := d.All(ctx)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(all, func(k Kept) bool { return k.Kind == config.Member && k.ID == person })
	if at < 0 {
		return nil, ErrNone
	}
	bushes, _ := housesOf(all, &all[at])
	kept, err := d.Archive.Everything(ctx, person, bushes)
	if err != nil {
		return nil, err
	}
	log, err := d.Log(ctx, config.Member, person, 10_000)
	if err != nil {
		return nil, err
	}
	out := map[string]any{"person": shownWhole(&all[at]), "changes": Lines(log), "kept": kept, "made_at": now.UTC()}
	var described []any
	for i := range all {
		if all[i].Kind == config.Bush && slices.Contains(bushes, all[i].ID) {
			described = append(described, all[i].Values)
		}
	}
	out["bushes"] = described
	return out, d.Note(ctx, []Change{{Kind: config.Member, Member: person, What: Given, By: by.Name, Way: by.Way, At: now}})
}

func shownWhole(k *Kept) map[string]any {
	out := map[string]any{}
	_ = json.Unmarshal([]byte(asJSON(k.Values)), &out) // of what was JSON
	if k.Phone.Given() {
		out["phone"] = k.Phone.Reveal()
	}
	if k.Email.Given() {
		out["email"] = k.Email.Reveal()
	}
	return out
}

// Forgot is what Forget did away with.
type Forgot struct {
	Person string   `json:"person"`
	Bushes []string `json:"bushes"` // with all their records
	Rows   int      `json:"rows"`
}

// ForgetAll forgets a person and the bushes that nobody else has, with all that is kept of
// them. In bushes of others their records stay, without the name.
func (d *Desk) ForgetAll(ctx context.Context, person string, by Author, now time.Time) (*Forgot, error) {
	all, err := d.All(ctx)
	if err != nil {
		return nil, err
	}
	var who Kept
	if at := slices.IndexFunc(all, func(k Kept) bool { return k.Kind == config.Member && k.ID == person }); at >= 0 {
		who = all[at]
	} else if who, err = d.removed(ctx, person); err != nil {
		return nil, err
	}
	bushes, alone := housesOf(all, &who)
	bushes, alone = d.withGone(all, &who, bushes, alone)
	cells, err := d.cellsOf(ctx, alone)
	if err != nil {
		return nil, err
	}
	if in := d.Base(); slices.ContainsFunc(in.People, func(p config.Person) bool { return p.ID == person }) {
		return nil, errors.New(person + " stands in the settings file: take them out there")
	}
	// Out of the settings first: nothing new is written for them then.
	for _, id := range alone {
		if err := d.Forget(ctx, config.Bush, id, by, now); err != nil {
			return nil, err
		}
	}
	if err := d.Forget(ctx, config.Member, person, by, now); err != nil {
		return nil, err
	}
	whose := archive.Whose{Person: person, Sites: alone, Shared: bushes, Cells: cells}
	whose.Name, _ = who.Values["name"].(string)
	rows, err := d.Archive.Forget(ctx, whose)
	if err == nil {
		err = d.Auth.Forget(ctx, person)
	}
	if err == nil {
		err = d.forgetFiles(&whose)
	}
	return &Forgot{person, alone, rows}, err
}

// removed is a person who was taken out before, as the log has them.
func (d *Desk) removed(ctx context.Context, person string) (Kept, error) {
	log, err := d.Log(ctx, config.Member, person, 1)
	if err != nil {
		return Kept{}, err
	}
	if len(log) == 0 || log[0].What == Forgotten {
		return Kept{}, ErrNone
	}
	return Kept{Described: config.Described{Kind: config.Member, ID: person, Values: Lines(log)[0].Before}}, nil
}

// withGone adds a person's bushes that were taken out before, whose records stayed, as far
// as nobody else names them.
func (d *Desk) withGone(all []Kept, who *Kept, bushes, alone []string) (of, own []string) {
	base := d.Base()
	for _, id := range idsOf(who.Values["sites"]) {
		there := slices.ContainsFunc(base.Sites, func(s forecast.Site) bool { return s.ID == id }) ||
			slices.ContainsFunc(all, func(k Kept) bool { return k.Kind == config.Bush && k.ID == id })
		others := slices.ContainsFunc(all, func(k Kept) bool {
			return k.Kind == config.Member && k.ID != who.ID && listed(k.Values["sites"], id)
		})
		switch {
		case there && !slices.Contains(bushes, id): // of the settings file: it stays, without their name
			bushes = append(bushes, id)
		case !there && !others:
			bushes, alone = append(bushes, id), append(alone, id)
		case !there:
			bushes = append(bushes, id)
		}
	}
	return bushes, alone
}

// forgetFiles takes away what services said of places. Their answers lie under a sum of the
// question, which names the place: all go, and are asked for again.
func (d *Desk) forgetFiles(whose *archive.Whose) error {
	var errs []error
	for folder, of := range map[string]func(string) bool{d.LastForecasts: func(name string) bool {
		key, err := url.QueryUnescape(strings.TrimSuffix(strings.TrimPrefix(name, "last-"), ".json"))
		return err == nil && whose.Weather(key)
	}, d.Answers: func(string) bool { return true }} {
		files, err := os.ReadDir(folder)
		if folder == "" || errors.Is(err, fs.ErrNotExist) {
			continue
		}
		errs = append(errs, err)
		for _, f := range files {
			if !f.IsDir() && of(f.Name()) {
				if err := os.Remove(filepath.Join(folder, f.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
					errs = append(errs, err)
				}
			}
		}
	}
	return errors.Join(errs...)
}

// cellsOf are the cells of bushes in which no other one lies.
func (d *Desk) cellsOf(ctx context.Context, bushes []string) (cells []string, err error) {
	c, _, err := d.Joined(ctx, d.Base())
	if err != nil {
		return nil, err
	}
	others := map[string]bool{}
	for i := range c.Sites {
		if cell := source.CellOf(c.Sites[i].Place); slices.Contains(bushes, c.Sites[i].ID) {
			cells = append(cells, cell)
		} else {
			others[cell] = true
		}
	}
	return slices.DeleteFunc(cells, func(cell string) bool { return others[cell] }), nil
}

// Line is a change as people and programs read it.
type Line struct {
	Change
	Before map[string]any `json:"before"`
	After  map[string]any `json:"after"`
}

// Lines are changes with what was and is said.
func Lines(list []Change) []Line {
	out := make([]Line, len(list))
	for i, c := range list {
		out[i] = Line{Change: c}
		_ = json.Unmarshal([]byte(c.Said), &out[i].Before) // was written as JSON
		_ = json.Unmarshal([]byte(c.Says), &out[i].After)
	}
	return out
}

// Written is a bush or person as programs and pages write it: values by the keys of the
// settings file, phone and email among those of a person. A person's number that is not
// among them stays as it is; an empty one goes.
func Written(kind, id string, values map[string]any, revision int, before *Kept) Kept {
	k := Kept{Described: config.Described{Kind: kind, ID: id, Values: values}, Revision: revision}
	values["id"] = id
	if kind == config.Bush && before != nil {
		keepPlace(values, before)
	}
	if kind != config.Member {
		return k
	}
	if before != nil {
		k.Phone, k.Email = before.Phone, before.Email
	}
	for key, into := range map[string]*secret.Text{"phone": &k.Phone, "email": &k.Email} {
		if given, is := values[key]; is {
			*into = secret.New(strings.TrimSpace(fmt.Sprint(given)))
		}
		delete(values, key)
	}
	return k
}

// Shown are the values of a bush or person, numbers without most of their digits.
func (k *Kept) Shown() map[string]any { return shownValues(&k.Described) }

// Set gives one value of a bush or person another, by its key in the settings file, such
// as shares.place; "" takes it away. Lists are one text with commas.
func Set(values map[string]any, key, value string) {
	section, rest, nested := strings.Cut(key, ".")
	if nested {
		under, is := values[section].(map[string]any)
		if !is {
			under = map[string]any{}
		}
		Set(under, rest, value)
		if values[section] = under; len(under) == 0 {
			delete(values, section)
		}
		return
	}
	if value == "" && key != "phone" && key != "email" {
		delete(values, key)
		return
	}
	values[key] = value
}
