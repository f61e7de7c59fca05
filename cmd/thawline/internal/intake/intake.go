// Package intake takes what people write down, whichever way it comes: it finds the
// group, looks the figures over, writes, counts, and answers. Ways in only read what was
// sent and show the answer, so that the same record gets the same one through all.
package intake

import (
	"context"
	"slices"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// Way is how records come in.
type Way string

// The ways in.
const (
	Command Way = "command"
	Import  Way = "import" // a file by command
	Form    Way = "form"
	Sheet   Way = "sheet" // a file by page
	API     Way = "api"
	Text    Way = "text"
	Gauge   Way = "gauge"
)

// Ways are all ways in.
func Ways() []Way { return []Way{Command, Import, Form, Sheet, API, Text, Gauge} }

// Outcome is what became of a record.
type Outcome string

// The outcomes.
const (
	Written     Outcome = "written"
	Same        Outcome = "same" // it is there already: nothing was written
	Load        Outcome = "load" // written, as a further load of a visit
	Corrected   Outcome = "corrected"
	BroughtBack Outcome = "brought_back" // it had been taken out
	Refused     Outcome = "refused"
)

// Outcomes are all outcomes.
func Outcomes() []Outcome { return []Outcome{Written, Same, Load, Corrected, BroughtBack, Refused} }

// Archive is where records are written.
type Archive interface {
	TapStore
	AttendanceStore
	HouseStore
	ClassStore
	ObservationStore
	Visits(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.Stored, error)
	PutEntry(ctx context.Context, e archive.Entry, visits []records.Visit, place func(i int, near []archive.Stored) archive.Placed,
		now time.Time) (archive.Written, error)
	Correct(ctx context.Context, e archive.Entry, id string, revision int, figures records.Visit, now time.Time) (archive.Written, error)
	Entry(ctx context.Context, site string, number int64, zone *time.Location) (archive.Written, error)
	LastEntry(ctx context.Context, site, person, by string, without ...string) (int64, error)
	UndoEntry(ctx context.Context, site string, entry int64, zone *time.Location, by string, now time.Time) ([]archive.Stored, int, error)
}

// Counter counts what became of records.
type Counter interface{ Recorded(way, outcome string) }

// Service takes records.
type Service struct {
	Archive Archive
	Counter Counter // nil where nobody counts
	// PlaceKey names a site's place in the archive, whose weather speaks against what can't
	// be; nil where nothing does.
	PlaceKey func(*forecast.Site) string
}

// Entry is what somebody writes down at once.
type Entry struct {
	Site *forecast.Site
	// Visits may leave out site, group, taps and moment: then the site's, its only
	// group, the group's taps, and now are meant.
	Visits   []records.Visit
	Way      Way
	From     auth.Identity
	Key      string         // of the sender, who may send it again; "" for none
	Print    string         // stands for what was sent under the key, "" where nobody says
	Doubtful bool           // keep what looks like a slip
	Correct  bool           // what is there of the same moment is wrong
	Fillings int            // how often the containers were filled for it; 0 for once
	Words    *message.Words // of the writer, for ticks in notes; nil where there are none
}

// Record is one visit of an entry and what became of it.
type Record struct {
	Visit   records.Visit // as it is kept
	Name    string        // of its group
	Outcome Outcome       // "" where it is right, but another of its entry is refused
	ID      string
	Before  records.Visit // what a corrected one said
	Loads   int           // of the visit that it is a load of
	TotalL  float64       // of these together
	Earlier bool          // who wrote said when it was: so does the answer
	Doubts  []records.Doubt
}

// Result is what became of an entry. Where one of its records is refused none is
// written.
type Result struct {
	Records  []Record // in the order that they came in
	Refused  bool
	Barred   bool  // refused because whoever sent it may not write
	Blocking bool  // refused, and nobody can keep it all the same
	Again    bool  // its key was known: nothing was written now
	Undone   bool  // it has been taken back since
	Number   int64 // of the site's entries; 0 where it is none
	Wrote    bool  // there is something to take back
}

// Outcomes counts records by outcome.
func (r *Result) Outcomes() map[Outcome]int {
	count := map[Outcome]int{}
	for i := range r.Records {
		count[r.Records[i].Outcome]++
	}
	return count
}

// Take looks an entry over and writes it, unless it is refused. An error is a fault of
// the archive, or archive.ErrOtherEntry.
func (s Service) Take(ctx context.Context, e Entry, now time.Time) (Result, error) {
	visits := e.settled(now)
	r := e.judged(visits, now)
	if r.Refused || len(visits) == 0 {
		s.count(e.Way, &r)
		return r, nil
	}
	order := byTime(visits)
	sorted := make([]records.Visit, len(visits))
	for place, i := range order {
		sorted[place] = visits[i]
	}
	w, err := s.Archive.PutEntry(ctx, e.kept(), sorted, func(place int, near []archive.Stored) archive.Placed {
		said := &e.Visits[order[place]]
		return e.place(sorted[place], said, near)
	}, now)
	if err != nil {
		return Result{}, err
	}
	r.Again = w.Again
	for place := range min(len(w.Puts), len(order)) {
		r.Records[order[place]].take(&w.Puts[place])
	}
	if err := s.finish(ctx, e.Site, &r, &w); err != nil {
		return Result{}, err
	}
	if !r.Again {
		s.count(e.Way, &r)
	}
	return r, nil
}

// byTime are the indexes of visits in order of time, so that the loads of a visit are
// told apart in the order in which they were carried away.
func byTime(visits []records.Visit) []int {
	order := make([]int, len(visits))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return visits[a].CollectedAt.Compare(visits[b].CollectedAt) })
	return order
}

// Correct replaces the figures of a record at a revision by those of a visit, whose
// group and moment stay as they are. An error is a fault of the archive,
// archive.ErrChanged or archive.ErrNoVisit.
func (s Service) Correct(ctx context.Context, e Entry, id string, revision int, now time.Time) (Result, error) {
	visits := e.settled(now)
	r := e.judged(visits, now)
	if r.Refused {
		s.count(e.Way, &r)
		return r, nil
	}
	w, err := s.Archive.Correct(ctx, e.kept(), id, revision, visits[0], now)
	if err != nil {
		return Result{}, err
	}
	r.Records[0].take(&w.Puts[0])
	if err := s.finish(ctx, e.Site, &r, &w); err != nil {
		return Result{}, err
	}
	s.count(e.Way, &r)
	return r, nil
}

// Entry is what became of an entry, as its records are now. archive.ErrNoEntry if there
// is none of that number.
func (s Service) Entry(ctx context.Context, site *forecast.Site, number int64) (Result, error) {
	w, err := s.Archive.Entry(ctx, site.ID, number, site.Zone)
	if err != nil {
		return Result{}, err
	}
	r := Result{Records: make([]Record, len(w.Puts)), Undone: w.Undone}
	for i := range w.Puts {
		r.Records[i].take(&w.Puts[i])
		r.Records[i].Name = nameOf(site, r.Records[i].Visit.Group)
	}
	return r, s.finish(ctx, site, &r, &w)
}

func (e *Entry) kept() archive.Entry {
	return archive.Entry{Site: e.Site.ID, Way: string(e.Way), Person: e.From.Person, By: e.From.Name, Key: e.Key, Print: e.Print,
		Zone: e.Site.Zone}
}

func (r *Record) take(p *archive.Put) {
	line := r.Visit.Line
	r.Visit, r.ID, r.Before = p.Visit, p.ID, p.Before
	r.Visit.Line = line
	r.Outcome = Outcome(p.Outcome)
	if p.Outcome == archive.Added {
		r.Outcome = Written
	}
}

// finish fills in what is told of an entry beside its own records.
func (s Service) finish(ctx context.Context, site *forecast.Site, r *Result, w *archive.Written) error {
	r.Number = w.Number
	for i := range w.Puts {
		r.Wrote = r.Wrote || w.Puts[i].Revision > 0 && !r.Undone
	}
	var first time.Time
	for i := range r.Records {
		if rec := &r.Records[i]; rec.Outcome == Load && (first.IsZero() || rec.Visit.CollectedAt.Before(first)) {
			first = rec.Visit.CollectedAt
		}
	}
	if first.IsZero() {
		return nil
	}
	stored, err := s.Archive.Visits(ctx, site.ID, first.AddDate(0, 0, -1), site.Zone)
	if err != nil {
		return err
	}
	by := map[string][]records.Visit{}
	for i := range stored {
		if v := &stored[i].Visit; !v.DateOnly {
			by[v.Group] = append(by[v.Group], *v)
		}
	}
	for i := range r.Records {
		if rec := &r.Records[i]; rec.Outcome == Load {
			rec.Loads, rec.TotalL = records.Loads(by[rec.Visit.Group], rec.Visit.CollectedAt)
		}
	}
	return nil
}

func (s Service) count(way Way, r *Result) {
	if s.Counter == nil {
		return
	}
	for i := range r.Records {
		if o := r.Records[i].Outcome; o != "" {
			s.Counter.Recorded(string(way), string(o))
		}
	}
}
