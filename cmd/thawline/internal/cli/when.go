package cli

import (
	"errors"
	"time"

	"thawline/forecast/records"
)

// When reads a flag that says when something was, or with ahead when it will be, as
// people write it in English or French.
func When(flag, text string, now time.Time, zone *time.Location, ahead bool) (at time.Time, dateOnly bool, err error) {
	at, dateOnly, err = records.ReadWhen(text, now, zone, ahead)
	var two *records.TwoDays
	switch {
	case errors.As(err, &two):
		return at, dateOnly, WrongUse(flag + ": " + err.Error())
	case err != nil:
		return at, dateOnly, WrongUse(flag + " " + text + ": " + err.Error())
	}
	return at, dateOnly, nil
}
