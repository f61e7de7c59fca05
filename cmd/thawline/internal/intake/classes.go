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

// BookClass books a visit. Keepers alone do: else ErrNotAllowed; a visit that can't be is a
// *records.ClassFault.
func (s Service) BookClass(ctx context.Context, site *forecast.Site, from auth.Identity, c records.ClassVisit, now time.Time) (records.ClassVisit, error) {
	if !from.Role.May(auth.Keeper) || !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return c, ErrNotAllowed
	}
	if err := c.Check(now); err != nil {
		return c, err
	}
	c.Site = site.ID
	c, _, err := s.Archive.PutClass(ctx, c, from.Name, now)
	return c, err
}

// WithdrawClass takes a visit back: else ErrNotAllowed, or archive.ErrNoEntry where there is
// none.
func (s Service) WithdrawClass(ctx context.Context, site *forecast.Site, from auth.Identity, id string) error {
	if !from.Role.May(auth.Keeper) || !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return ErrNotAllowed
	}
	return s.Archive.RemoveClass(ctx, site.ID, id)
}
