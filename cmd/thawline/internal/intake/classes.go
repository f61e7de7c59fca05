package intake

import (
	"context"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// ClassStore is where visits of classes and their guesses are kept.
type ClassStore interface {
	Classes(ctx context.Context, site string, from time.Time, zone *time.Location) ([]records.ClassVisit, error)
	PutClass(ctx context.Context, c records.ClassVisit, by string, now time.Time) (records.ClassVisit, archive.Outcome, error)
	RemoveClass(ctx context.Context, site, id string) error
	PutGuess(ctx context.Context, g records.ClassGuess) error
	Guesses(ctx context.Context, site, from string) ([]records.ClassGuess, error)
}

// BookClass books a visit, and says whether it was booked before. Keepers alone do, and
// tokens: else ErrNotAllowed; a visit that can't be is a *records.ClassFault.
func (s Service) BookClass(ctx context.Context, site *forecast.Site, from auth.Identity, c records.ClassVisit,
	now time.Time) (records.ClassVisit, archive.Outcome, error) {
	if !mayBook(site, &from) {
		return c, "", ErrNotAllowed
	}
	if err := c.Check(now); err != nil {
		return c, "", err
	}
	c.Site = site.ID
	return s.Archive.PutClass(ctx, c, from.Name, now)
}

// mayBook reports whether somebody books visits of a site and takes them back.
func mayBook(site *forecast.Site, who *auth.Identity) bool {
	return (who.Scopes != nil || who.Role.May(auth.Keeper)) && who.Can(auth.WriteRecords) && who.Sees(site.ID)
}

// WithdrawClass takes a visit back: else ErrNotAllowed, or archive.ErrNoEntry where there is
// none.
func (s Service) WithdrawClass(ctx context.Context, site *forecast.Site, from auth.Identity, id string) error {
	if !mayBook(site, &from) {
		return ErrNotAllowed
	}
	return s.Archive.RemoveClass(ctx, site.ID, id)
}
