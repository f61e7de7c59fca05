package intake

import (
	"context"
	"errors"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// Undone is what was taken back.
type Undone struct {
	Records []archive.Stored // as they are now: taken out, or as they were before
	Changed int              // of the entry, that somebody has changed since: they stay
	Barred  bool             // whoever asked may not
	None    bool             // there is nothing of theirs to take back
}

// Last stands for the newest entry of whoever asks that can be taken back.
const Last = 0

// Undo takes back an entry of a site by its number, or somebody's last one. Everybody
// takes back what is their own, keepers what is anybody's. By text, where nobody sees
// what would be taken back, the last one is never a whole file.
func (s Service) Undo(ctx context.Context, site *forecast.Site, number int64, way Way, from auth.Identity, now time.Time) (Undone, error) {
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return Undone{Barred: true}, nil
	}
	var err error
	if number == Last {
		number, err = s.LastEntry(ctx, site, way, from)
	} else {
		var of archive.Written
		of, err = s.Archive.Entry(ctx, site.ID, number, site.Zone)
		own := of.Person == from.Person && (of.Person != "" || of.By == from.Name)
		if err == nil && !own && !from.Role.May(auth.Keeper) {
			return Undone{Barred: true}, nil
		}
	}
	var u Undone
	if err == nil {
		u.Records, u.Changed, err = s.Archive.UndoEntry(ctx, site.ID, number, site.Zone, from.Name, now)
	}
	if errors.Is(err, archive.ErrNoEntry) {
		return Undone{None: true}, nil
	}
	return u, err
}

// LastEntry is the number of the newest entry that Undo would take back for somebody;
// archive.ErrNoEntry if there is none.
func (s Service) LastEntry(ctx context.Context, site *forecast.Site, way Way, from auth.Identity) (int64, error) {
	var without []string
	if way == Text {
		without = []string{string(Import), string(Sheet)}
	}
	return s.Archive.LastEntry(ctx, site.ID, from.Person, from.Name, without...)
}
