package alerts_test

import (
	"fmt"
	"time"

	"thawline/alerts"
	"thawline/forecast"
)

// nothingSaid is the memory of a program that has just been set up.
type nothingSaid struct{}

func (nothingSaid) Last(string, alerts.Kind, string) (alerts.Decision, time.Time, bool, error) {
	return alerts.Decision{}, time.Time{}, false, nil
}

// The weather of an outlook is three days old: whoever looks after the program hears it.
func ExampleDecide() {
	now := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	outlook := forecast.Outlook{Site: "hill", IssuedAt: now}
	outlook.Season.Tapped = true
	outlook.Source.IssuedAt, outlook.Source.AgeHours = now.Add(-72*time.Hour), 72
	decisions, err := alerts.Decide(&outlook, nothingSaid{}, alerts.Moment{Now: now}, alerts.Usual)
	for i := range decisions {
		fmt.Println(decisions[i].Kind)
	}
	fmt.Println(err)
	// Output:
	// stale_feed
	// <nil>
}
