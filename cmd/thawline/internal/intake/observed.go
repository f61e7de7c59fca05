package intake

import (
	"context"
	"errors"
	"math"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// ObservationStore is where it is kept what was seen in the bush, and the weather that it
// is held against.
type ObservationStore interface {
	Observations(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredObservation, error)
	PutObservations(ctx context.Context, list []records.Observation, key string, now time.Time) ([]archive.PutObservation, error)
	RemoveObservation(ctx context.Context, site, id, by string, now time.Time) (archive.StoredObservation, error)
	Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error)
}

// Seen is what somebody saw in the bush at once.
type Seen struct {
	Site *forecast.Site
	// List may leave out moments and days: then now is meant, and the night and day that
	// a thermometer's reading of that moment is of. Groups may go by their names.
	List []records.Observation
	From auth.Identity
	Key  string // of the sender, who may send it again; "" for none
	Sure bool   // keep what the weather speaks against
}

// Observe checks that somebody may write down what they saw, and what, and keeps all of it
// or nothing: once, however often it is sent. Faults that the writer can put right are
// ErrNotAllowed or *records.ObservationFault.
func (s Service) Observe(ctx context.Context, seen Seen, now time.Time) ([]archive.PutObservation, error) {
	list, doubted, err := s.judgeSeen(ctx, seen, now)
	if err == nil && len(doubted) > 0 {
		err = doubted[0]
	}
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return s.Archive.PutObservations(ctx, list, seen.Key, now)
}

// ObserveFile is Observe for a station's file: days that the weather speaks against are left
// out and told of. Where that is more than one in three the file is another unit or
// another place's, and nothing is kept: the error is the first of them.
func (s Service) ObserveFile(ctx context.Context, seen Seen, now time.Time) (puts []archive.PutObservation,
	leftOut []*records.ObservationFault, err error) {
	list, doubted, err := s.judgeSeen(ctx, seen, now)
	if err == nil && 3*len(doubted) > len(seen.List) {
		err = doubted[0]
	}
	if err != nil || len(list) == 0 {
		return nil, nil, err
	}
	puts, err = s.Archive.PutObservations(ctx, list, seen.Key, now)
	return puts, doubted, err
}

// judgeSeen are the observations that can be kept, and those that the weather speaks
// against. The error is the first that can't be kept at all.
func (s Service) judgeSeen(ctx context.Context, seen Seen, now time.Time) (list []records.Observation,
	doubted []*records.ObservationFault, err error) {
	site, from := seen.Site, &seen.From
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return nil, nil, ErrNotAllowed
	}
	for _, o := range seen.List {
		o.Site, o.By = site.ID, from.Name
		o.Settle(now, site.Zone)
		if fault := groupOf(site, &o); fault != nil {
			return nil, nil, fault
		}
		known, err := s.knownC(ctx, site, &o)
		if err != nil {
			return nil, nil, err
		}
		err = o.Check(now, known)
		var fault *records.ObservationFault
		switch {
		case err == nil:
		case !errors.As(err, &fault) || !fault.Doubt():
			return nil, nil, err
		case !seen.Sure:
			doubted = append(doubted, fault)
			continue
		}
		list = append(list, o)
	}
	return list, doubted, nil
}

// groupOf gives an observation the id of its group.
func groupOf(site *forecast.Site, o *records.Observation) error {
	if o.Group == "" || o.Kind.Read() {
		o.Group = ""
		return nil
	}
	for i := range site.Groups {
		if g := &site.Groups[i]; strings.EqualFold(g.ID, o.Group) || strings.EqualFold(g.Name, o.Group) {
			o.Group = g.ID
			return nil
		}
	}
	return &records.ObservationFault{Kind: "group", Of: *o}
}

// knownC is the low or high that the kept weather has of an observation's day, NaN where
// too little of it is kept.
func (s Service) knownC(ctx context.Context, site *forecast.Site, o *records.Observation) (float64, error) {
	if !o.Kind.Read() || s.PlaceKey == nil {
		return math.NaN(), nil
	}
	from, to, err := o.Kind.Window(o.Day, site.Zone)
	if err != nil {
		return math.NaN(), nil //nolint:nilerr // Check says so
	}
	hours, err := s.Archive.Hours(ctx, s.PlaceKey(site), from, to)
	if err != nil {
		return math.NaN(), err
	}
	low, high, known := hours.Extremes(from, to)
	switch {
	case known < to.Sub(from).Hours()/2:
		return math.NaN(), nil
	case o.Kind == records.Low:
		return low, nil
	}
	return high, nil
}

// Observed is what was seen in a site's bush this winter, oldest first.
func (s Service) Observed(ctx context.Context, site *forecast.Site, now time.Time) ([]archive.StoredObservation, error) {
	return s.Archive.Observations(ctx, site.ID, season.WinterStart(now, site.Zone), site.Zone)
}

// TakeBackObserved takes out what somebody saw. Everybody takes back what is their own,
// keepers what is anybody's: else ErrNotAllowed; archive.ErrNoEntry where the site has no
// such observation.
func (s Service) TakeBackObserved(ctx context.Context, site *forecast.Site, from auth.Identity, id string,
	now time.Time) (archive.StoredObservation, error) {
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return archive.StoredObservation{}, ErrNotAllowed
	}
	list, err := s.Archive.Observations(ctx, site.ID, time.Time{}, site.Zone)
	if err != nil {
		return archive.StoredObservation{}, err
	}
	for i := range list {
		if list[i].ID == id && list[i].RecordedBy != from.Name && !from.Role.May(auth.Keeper) {
			return archive.StoredObservation{}, ErrNotAllowed
		}
	}
	o, err := s.Archive.RemoveObservation(ctx, site.ID, id, from.Name, now)
	o.At = o.At.In(site.Zone)
	return o, err
}

// lastObserved is what somebody saw last, all that they wrote at that moment; none where
// that is nothing, or not newer than a moment.
func (s Service) lastObserved(ctx context.Context, site *forecast.Site, since time.Time,
	from auth.Identity) ([]archive.StoredObservation, error) {
	list, err := s.Archive.Observations(ctx, site.ID, time.Time{}, site.Zone)
	var last []archive.StoredObservation
	for i := range list {
		switch o := &list[i]; {
		case o.RecordedBy != from.Name:
		case o.RecordedAt.After(since):
			since, last = o.RecordedAt, []archive.StoredObservation{*o}
		case len(last) > 0 && o.RecordedAt.Equal(since):
			last = append(last, *o)
		}
	}
	return last, err
}

// mostUndone is how many observations are taken back as one: more are a station's file.
const mostUndone = 4

// SayObserved tells what became of observations.
func SayObserved(w *message.Words, site *forecast.Site, puts []archive.PutObservation) string {
	var says []string
	for i := range puts {
		p := &puts[i]
		if p.Outcome == archive.Same {
			continue
		}
		values := observedValues(w, site, &p.Observation)
		key := "observed_" + string(p.Kind)
		if p.Outcome == archive.Corrected && p.Kind.Read() {
			key += "_instead"
			values["Before"] = observedValues(w, site, &p.Before)["Temperature"]
		}
		says = append(says, w.Say(key, values))
	}
	if len(says) == 0 {
		return w.Say("observed_same", nil)
	}
	return strings.Join(says, " ")
}

// SayObservedFile tells how much of a station's file is new.
func SayObservedFile(w *message.Words, puts []archive.PutObservation) string {
	same := 0
	for i := range puts {
		if puts[i].Outcome == archive.Same {
			same++
		}
	}
	return w.Say("observed_imported", map[string]any{"Added": len(puts) - same, "Same": same})
}

// SayLeftOut tells which days of a file were left out.
func SayLeftOut(w *message.Words, faults []*records.ObservationFault) []string {
	var says []string
	for _, f := range faults {
		says = append(says, w.Say("observed_left_out",
			map[string]any{"Day": f.Of.Day, "Temperature": w.Read(f.Of.TemperatureC), "Known": w.Read(f.KnownC)}))
	}
	return says
}

// WhatObserved says what an observation is.
func WhatObserved(w *message.Words, site *forecast.Site, o *records.Observation) string {
	return w.Say("observed_what_"+string(o.Kind), observedValues(w, site, o))
}

func observedValues(w *message.Words, site *forecast.Site, o *records.Observation) map[string]any {
	day := o.At.In(site.Zone)
	if o.Kind.Read() {
		if d, err := time.ParseInLocation(time.DateOnly, o.Day, site.Zone); err == nil {
			day = d
		}
	}
	values := map[string]any{"Day": w.Weekday(day), "Date": w.Date(day), "Time": w.Time(o.At.In(site.Zone)), "Group": "",
		"Temperature": w.Read(o.TemperatureC), "Sign": o.Sign}
	if o.Group != "" {
		values["Group"] = w.Say("observed_of_group", map[string]any{"Group": nameOf(site, o.Group)})
	}
	return values
}

// SayObservationFault tells why an observation was not kept; false where the writer can do
// nothing about it.
func SayObservationFault(w *message.Words, err error) (string, bool) {
	var fault *records.ObservationFault
	switch {
	case errors.Is(err, ErrNotAllowed):
		return w.Say("intake_barred", nil), true
	case !errors.As(err, &fault):
		return "", false
	}
	values := map[string]any{"Temperature": w.Read(fault.Of.TemperatureC), "Known": w.Read(fault.KnownC), "Group": fault.Of.Group}
	if fault.Kind == "unit" {
		other := units.PlainTemperature(fault.OtherC, units.Metric)
		if fault.InF {
			other = units.PlainTemperature(fault.OtherC, units.US)
		}
		values["Other"], values["Example"] = other, w.Say("observed_word_"+string(fault.Of.Kind), nil)+" "+other
	}
	return w.Say("observed_fault_"+fault.Kind, values), true
}
