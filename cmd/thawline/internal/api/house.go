package api

import (
	"context"
	"errors"
	"math"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// NewHouseEntry is a line of the sugarhouse's book. What was not measured is left out.
type NewHouseEntry struct {
	Kind      string   `json:"kind" enum:"boiled,sap_left,tipped_out,wood_left,syrup_left,stirred" doc:"boiled: sap went into the pan; stirred: a batch of syrup became sugar; the others say what lies there now, or that sap was poured away"`
	At        string   `json:"at,omitempty" doc:"RFC 3339; of a boil when the fire was out; now where it is left out" example:"2026-03-21T20:00:00-04:00"`
	SapL      *float64 `json:"sap_l,omitempty" minimum:"0"`
	SyrupL    *float64 `json:"syrup_l,omitempty" minimum:"0"`
	SugarKg   *float64 `json:"sugar_kg,omitempty" minimum:"0"`
	WoodCords *float64 `json:"wood_cords,omitempty" minimum:"0" doc:"burnt, or left; a cord is 128 cubic feet stacked"`
	Hours     *float64 `json:"hours,omitempty" minimum:"0" doc:"of fire"`
	Note      string   `json:"note,omitempty" maxLength:"500"`
	Pan       string   `json:"pan,omitempty" maxLength:"40" doc:"of a boil: id of the one pan that it was in; all of them where it is left out"`
	// Of sugar that was stirred.
	LeftC       *float64 `json:"left_c,omitempty" doc:"where sugar left the fire, by the thermometer"`
	WaterC      *float64 `json:"water_c,omitempty" doc:"where the same thermometer showed boiling water that day"`
	HumidityPct *float64 `json:"humidity_pct,omitempty" doc:"of the room"`
	Outcome     string   `json:"outcome,omitempty" enum:"caked,poured,lumps" doc:"how the sugar came out"`
}

// HouseEntry is a line of the sugarhouse's book as it is kept.
type HouseEntry struct {
	ID string `json:"id"`
	NewHouseEntry
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy string    `json:"recorded_by,omitempty" doc:"left out for those who only look on"`
}

// NotedHouse says what became of a line that was sent.
type NotedHouse struct {
	ID      string `json:"id"`
	Outcome string `json:"outcome" enum:"added,same" doc:"same: it was written down already"`
	Says    string `json:"says"`
}

func (s *server) house() {
	type list struct{ Body []HouseEntry }
	add(s, auth.ReadRecords, huma.Operation{OperationID: "list-house", Method: http.MethodGet, Path: "/sites/{site}/house",
		Summary:     "The sugarhouse's book",
		Description: "Lists this winter's boils and what was seen to be left of sap, syrup and wood, the oldest first."},
		func(ctx context.Context, in *SitePath) (*list, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			book, err := s.Intake.HouseBook(ctx, site, s.Now())
			if err != nil {
				return nil, s.failed("read records", err)
			}
			out := &list{Body: []HouseEntry{}}
			for i := range book {
				e := houseOf(&book[i])
				if !auth.From(ctx).Can(auth.WriteRecords) {
					e.RecordedBy = ""
				}
				out.Body = append(out.Body, e)
			}
			return out, nil
		})

	type write struct {
		SitePath
		Spoken
		Key  string `header:"Idempotency-Key" maxLength:"128" doc:"the same again writes nothing"`
		Body NewHouseEntry
	}
	type answer struct{ Body NotedHouse }
	add(s, auth.WriteRecords, huma.Operation{OperationID: "add-house", Method: http.MethodPost, Path: "/sites/{site}/house",
		Summary:     "Write in the sugarhouse's book",
		Description: "Keeps a boil, or what is left. Stock, fires and the pan's rate follow at once. The same figures within ten minutes are the same line."},
		func(ctx context.Context, in *write) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			words, err := s.wordsIn(in.Language)
			if err != nil {
				return nil, s.failed("find words", err)
			}
			b := &in.Body
			e := records.HouseEntry{Kind: records.HouseKind(b.Kind), SapL: orNaN(b.SapL), SyrupL: orNaN(b.SyrupL),
				SugarKg: orNaN(b.SugarKg), WoodCords: orNaN(b.WoodCords), Hours: orNaN(b.Hours), Note: b.Note, Pan: b.Pan}
			if e.Kind == records.Stirred {
				e.Sugar = &records.SugarBatch{LeftC: orNaN(b.LeftC), WaterC: orNaN(b.WaterC), HumidityPct: orNaN(b.HumidityPct),
					Outcome: b.Outcome}
			}
			if b.At != "" {
				if e.At, _, err = records.ParseMoment(b.At, site.Zone); err != nil {
					return nil, huma.Error422UnprocessableEntity("nothing was written: put this right first",
						&huma.ErrorDetail{Location: "body.at", Message: "not a moment: write it like 2026-03-21T20:00:00-04:00",
							Value: b.At})
				}
			}
			key := in.Key
			if key != "" {
				key = site.ID + "/api/" + key
			}
			noted, err := s.Intake.NoteHouse(ctx, site, auth.From(ctx), e, key, s.Now())
			if said, known := intake.SayHouseFault(words, err); known {
				return nil, huma.Error422UnprocessableEntity("nothing was written: put this right first",
					&huma.ErrorDetail{Location: "body", Message: message.Settle(said)})
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			return &answer{NotedHouse{noted.ID, string(noted.Outcome), message.Settle(noted.Say(words))}}, nil
		})

	type gone struct{}
	add(s, auth.WriteRecords, huma.Operation{OperationID: "remove-house", Method: http.MethodDelete, Path: "/sites/{site}/house/{id}",
		Summary: "Take a line out", Description: "Takes a line out of the sugarhouse's book. Everybody takes out what is their own, keepers what is anybody's."},
		func(ctx context.Context, in *RecordPath) (*gone, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			_, err = s.Intake.TakeBackHouse(ctx, site, auth.From(ctx), in.ID, true, s.Now())
			switch {
			case errors.Is(err, archive.ErrNoEntry):
				return nil, huma.Error404NotFound("there is no such line")
			case errors.Is(err, intake.ErrNotAllowed):
				return nil, huma.Error403Forbidden("somebody else wrote that: a keeper can take it out")
			case err != nil:
				return nil, s.failed("write records", err)
			}
			return &gone{}, nil
		})
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

func houseOf(s *archive.StoredHouse) HouseEntry {
	given := func(x float64) *float64 {
		if math.IsNaN(x) {
			return nil
		}
		return &x
	}
	out := HouseEntry{ID: s.ID, RecordedAt: s.RecordedAt, RecordedBy: s.RecordedBy,
		NewHouseEntry: NewHouseEntry{Kind: string(s.Kind), At: s.At.Format(time.RFC3339),
			SapL: given(s.SapL), SyrupL: given(s.SyrupL), SugarKg: given(s.SugarKg), WoodCords: given(s.WoodCords), Hours: given(s.Hours),
			Note: s.Note, Pan: s.Pan}}
	if b := s.Sugar; b != nil {
		out.LeftC, out.WaterC, out.HumidityPct, out.Outcome = given(b.LeftC), given(b.WaterC), given(b.HumidityPct), b.Outcome
	}
	return out
}
