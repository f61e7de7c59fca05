// Package source asks public weather services for the weather at a place, one
// adapter a file, each by its service's published format.
package source

import (
	"context"
	"time"

	"thawline/forecast/weather"
)

// Request says what is wanted: the place, the moment that counts as now, and
// how many days back and ahead.
type Request struct {
	Place    weather.Place
	Now      time.Time
	PastDays int
	Days     int
	// Beside is what is believed of a place close by, nil where nothing is: services
	// need not look, but what they say is held against it.
	Beside *weather.Bulletin
	// Stations are those whose weather is mixed for the place; none asks for its own.
	Stations []weather.Station
	// Read is the bush's own thermometer, nil for none.
	Read Read
}

// Forecaster is a service that knows the coming days. Forecast fails with a
// *Fault when the service can't be reached, refuses, or says something that
// cannot be used.
type Forecaster interface {
	Name() string
	Forecast(ctx context.Context, r Request) (weather.Bulletin, error)
}

// Historian is a service that also knows the past between two moments.
type Historian interface {
	Name() string
	History(ctx context.Context, place weather.Place, from, to time.Time) (weather.Series, []weather.Credit, error)
}

// FaultKind sorts what can go wrong with a service by what to do about it.
type FaultKind string

// The kinds of fault.
const (
	Unreachable FaultKind = "unreachable" // no answer in time, or no connection
	Refused     FaultKind = "refused"     // the service answered that it will not
	Busy        FaultKind = "busy"        // too many requests, or down for a while
	Unreadable  FaultKind = "unreadable"  // an answer that does not follow its format
	Outdated    FaultKind = "outdated"    // readable, but too old or for other hours
	Outside     FaultKind = "outside"     // the service does not cover the place
)

// Fault is why one service gave nothing that can be used. Detail says what
// happened, Remedy what a person can do.
type Fault struct {
	Service string
	Kind    FaultKind
	Status  int // of the HTTP answer, 0 if there was none
	Detail  string
	Remedy  string
	Cause   error
}

func (f *Fault) Error() string { return f.Service + ": " + f.What() }

// What is what happened and what a person can do, without the service's name.
func (f *Fault) What() string {
	if f.Remedy == "" {
		return f.Detail
	}
	return f.Detail + "; " + f.Remedy
}

func (f *Fault) Unwrap() error { return f.Cause }
