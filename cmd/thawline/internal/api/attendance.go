package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// NewAttendance says that somebody makes a round, or can't.
type NewAttendance struct {
	Kind   string   `json:"kind" enum:"going,away"`
	Person string   `json:"person,omitempty" maxLength:"64" doc:"id; who asks where it is left out. Only keepers and tokens speak for others"`
	From   string   `json:"from" doc:"RFC 3339: when the round starts, or from when somebody can't; a planned round of theirs that starts then is meant" example:"2026-03-21T15:00:00-04:00"`
	To     string   `json:"to,omitempty" doc:"RFC 3339; the planned round's end, or three hours later, where it is left out; of a date alone the whole day"`
	Groups []string `json:"groups,omitempty" maxItems:"200" doc:"ids; those of the planned round where they are left out, else the plan chooses"`
}

// KeptAttendance is what somebody has said of a round.
type KeptAttendance struct {
	ID     string    `json:"id"`
	Kind   string    `json:"kind"`
	Person string    `json:"person" doc:"\"\" for whoever goes, where nobody has said when they are free"`
	From   time.Time `json:"from"`
	To     time.Time `json:"to" doc:"it counts until then"`
	Groups []string  `json:"groups"`
	With   []string  `json:"with" doc:"ids of who goes along"`
	SaidAt time.Time `json:"said_at"`
	SaidBy string    `json:"said_by"`
}

// SaidAttendance is what became of what somebody said of a round.
type SaidAttendance struct {
	KeptAttendance
	Again bool   `json:"again" doc:"it was said before: nothing was written now"`
	Say   string `json:"say" doc:"what is planned now"`
}

func attendanceOf(a *archive.StoredAttendance) KeptAttendance {
	return KeptAttendance{ID: a.ID, Kind: string(a.Kind), Person: a.Person, From: a.From, To: a.To,
		Groups: append([]string{}, a.Groups...), With: append([]string{}, a.With...), SaidAt: a.SaidAt.UTC(), SaidBy: a.SaidBy}
}

func (s *server) attendance() {
	s.listAttendance()
	s.addAttendance()
	s.undoAttendance()
}

func (s *server) listAttendance() {
	type list struct{ Body []KeptAttendance }
	add(s, auth.ReadOutlook, huma.Operation{OperationID: "list-attendance", Method: http.MethodGet, Path: "/sites/{site}/attendance",
		Summary:     "Who goes, and who can't",
		Description: "What people have said of rounds to come, in the order in which they said it. What is over, was taken back or said anew is left out."},
		func(ctx context.Context, in *SitePath) (*list, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			stored, err := s.Intake.Attendance(ctx, site, s.Now())
			if err != nil {
				return nil, s.failed("read who goes", err)
			}
			out := &list{Body: []KeptAttendance{}}
			for i := range stored {
				out.Body = append(out.Body, attendanceOf(&stored[i]))
			}
			return out, nil
		})
}

func (s *server) addAttendance() {
	type ask struct {
		SitePath
		Key string `header:"Idempotency-Key" doc:"8 to 128 letters, digits and -_.: ; the same key again writes nothing"`
		Spoken
		Body NewAttendance
	}
	type answer struct{ Body SaidAttendance }
	add(s, auth.WriteRecords, huma.Operation{OperationID: "add-attendance", Method: http.MethodPost, Path: "/sites/{site}/attendance",
		Summary:     "Say who goes, or can't",
		Description: "A round that somebody says they make is planned whatever it is worth, and who can't go is left out for those hours; all other rounds are planned around it at once. It counts until the round is over. What a person says takes the place of what they said before of the same time."},
		func(ctx context.Context, in *ask) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			if in.Key != "" && !idempotencyKey.MatchString(in.Key) {
				return nil, huma.Error400BadRequest("the Idempotency-Key has 8 to 128 letters, digits and -_.:")
			}
			words, err := s.wordsIn(in.Language)
			if err != nil {
				return nil, s.failed("find words", err)
			}
			v := auth.From(ctx)
			before := s.Outlook(ctx, site.ID)
			said, fault := readAttendance(&in.Body, site.Zone)
			if fault != nil {
				return nil, huma.Error422UnprocessableEntity(nothingWritten, fault)
			}
			if said.Person == "" {
				said.Person = intake.Helper(site, &v).ID
			}
			fillRound(&said, before)
			key := ""
			if in.Key != "" {
				key = "api/" + in.Key
			}
			put, again, err := s.Intake.Attend(ctx, site, v, said, key, s.Now())
			if err != nil {
				return nil, s.notAttended(err, in.Language)
			}
			out := &answer{}
			out.Body.KeptAttendance, out.Body.Again = attendanceOf(&put), again
			out.Body.Say = message.Settle(intake.SayAttendance(words, site, &put.Attendance, before, s.Outlook(ctx, site.ID)))
			return out, nil
		})
}

func (s *server) undoAttendance() {
	type undo struct {
		SitePath
		ID string `path:"id" maxLength:"64"`
		Spoken
	}
	add(s, auth.WriteRecords, huma.Operation{OperationID: "undo-attendance", Method: http.MethodPost,
		Path: "/sites/{site}/attendance/{id}/undo", Summary: "Take back who goes, or can't",
		Description: "Takes back what somebody has said of a round; what it had taken the place of counts again."},
		func(ctx context.Context, in *undo) (*struct{}, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			if _, err = s.Intake.TakeBack(ctx, site, auth.From(ctx), in.ID, s.Now()); errors.Is(err, intake.ErrNothingSaid) {
				return nil, huma.Error404NotFound("nothing of that id is to be taken back")
			}
			if err != nil {
				return nil, s.notAttended(err, in.Language)
			}
			return nil, nil
		})
}

// usualRound is how long a round of which nobody knows more is taken to last.
const usualRound = 3 * time.Hour

// readAttendance reads what was sent; a date alone is the whole day.
func readAttendance(n *NewAttendance, zone *time.Location) (records.Attendance, error) {
	said := records.Attendance{Kind: records.AttendanceKind(n.Kind), Person: n.Person, Groups: slices.Clone(n.Groups)}
	from, day, err := records.ParseMoment(n.From, zone)
	if err != nil {
		return said, &huma.ErrorDetail{Location: "body.from", Message: "not a moment: write it like 2026-03-21T15:00:00-04:00",
			Value: n.From}
	}
	said.From = from
	switch {
	case n.To != "":
		to, dateOnly, err := records.ParseMoment(n.To, zone)
		if err != nil || dateOnly {
			return said, &huma.ErrorDetail{Location: "body.to", Message: "not a moment: write it like 2026-03-21T17:00:00-04:00",
				Value: n.To}
		}
		said.To = to
	case day && said.Kind == records.Away:
		said.From = time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
		said.To = said.From.AddDate(0, 0, 1)
	case day:
		return said, &huma.ErrorDetail{Location: "body.from",
			Message: "a round starts at a time of day: write it like 2026-03-21T15:00:00-04:00", Value: n.From}
	}
	return said, nil
}

// notAttended words why what somebody said of a round was not kept.
func (s *server) notAttended(err error, language string) error {
	var fault *intake.AttendanceFault
	if !errors.As(err, &fault) {
		return s.failed("write who goes", err)
	}
	words, err := s.wordsIn(language)
	if err != nil {
		return s.failed("find words", err)
	}
	say := message.Settle(words.Say(fault.Key, nil))
	if errors.Is(fault, intake.ErrBarred) || errors.Is(fault, intake.ErrOfOthers) {
		return huma.Error403Forbidden(say)
	}
	return huma.Error422UnprocessableEntity(say)
}

// fillRound gives what somebody says of a round without an end the end, company and groups
// of the round that is planned then, else the usual end. before may be nil.
func fillRound(said *records.Attendance, before *forecast.Outlook) {
	if before != nil && said.Kind == records.Going && said.To.IsZero() {
		for i := range before.Work.Rounds {
			r := &before.Work.Rounds[i]
			if r.Start.Equal(said.From) && (slices.Contains(r.Who, said.Person) || len(r.Who) == 0) {
				planned := intake.GoesOn(r, said.Person)
				if said.To, said.With = planned.To, planned.With; len(said.Groups) == 0 {
					said.Groups = planned.Groups
				}
			}
		}
	}
	if said.To.IsZero() {
		said.To = said.From.Add(usualRound)
	}
}
