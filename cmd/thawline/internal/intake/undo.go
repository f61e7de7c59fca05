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
	Records []archive.Stored            // as they are now: taken out, or as they were before
	Changed int                         // of the entry, that somebody has changed since: they stay
	Taps    []archive.StoredTap         // what was done to taps, in place of records
	House   *archive.StoredHouse        // of the sugarhouse's book, in place of records
	Seen    []archive.StoredObservation // in the bush, in place of records
	Barred  bool                        // whoever asked may not
	None    bool                        // there is nothing of theirs to take back
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
	if number == Last {
		last, err := s.LastEntry(ctx, site, way, from)
		if err != nil && !errors.Is(err, archive.ErrNoEntry) {
			return Undone{}, err
		}
		since, err := s.madeAt(ctx, site, last)
		if err != nil {
			return Undone{}, err
		}
		if u, done, err := s.undoSince(ctx, site, since, way, from, now); done || err != nil {
			return u, err
		}
		number = last
	} else if barred, err := s.notTheirs(ctx, site, number, from); err != nil || barred {
		return orNone(Undone{Barred: barred}, err)
	}
	var u Undone
	var err error
	u.Records, u.Changed, err = s.Archive.UndoEntry(ctx, site.ID, number, site.Zone, from.Name, now)
	return orNone(u, err)
}

// orNone is what Undo returns: an entry that is not there is none to undo.
func orNone(u Undone, err error) (Undone, error) {
	if errors.Is(err, archive.ErrNoEntry) {
		return Undone{None: true}, nil
	}
	return u, err
}

// notTheirs says whether somebody may not undo an entry: it is another's, and they are no
// keeper.
func (s Service) notTheirs(ctx context.Context, site *forecast.Site, number int64, from auth.Identity) (bool, error) {
	of, err := s.Archive.Entry(ctx, site.ID, number, site.Zone)
	own := of.Person == from.Person && (of.Person != "" || of.By == from.Name)
	return err == nil && !own && !from.Role.May(auth.Keeper), err
}

// undoSince takes back the last of what somebody wrote down after a moment that is no
// entry of visits: taps, a line of the sugarhouse's book, what was seen in the bush. done
// is false where there is none.
func (s Service) undoSince(ctx context.Context, site *forecast.Site, since time.Time, way Way, from auth.Identity,
	now time.Time) (u Undone, done bool, err error) {
	taps, err := s.lastTaps(ctx, site, since, from)
	if err != nil {
		return Undone{}, false, err
	}
	if len(taps) > 0 {
		since = taps[0].RecordedAt
	}
	line, err := s.lastHouse(ctx, site, since, from)
	if err != nil {
		return Undone{}, false, err
	}
	if line != nil {
		since = line.RecordedAt
	}
	seen, err := s.lastObserved(ctx, site, since, from)
	if err != nil {
		return Undone{}, false, err
	}
	if len(seen) > mostUndone && way == Text {
		seen = nil
	}
	switch {
	case len(seen) > 0:
		for i := 0; i < len(seen) && err == nil; i++ {
			seen[i], err = s.TakeBackObserved(ctx, site, from, seen[i].ID, now)
		}
		return Undone{Seen: seen}, true, err
	case line != nil:
		_, err = s.TakeBackHouse(ctx, site, from, line.ID, true, now)
		return Undone{House: line}, true, err
	case len(taps) > 0:
		for i := 0; i < len(taps) && err == nil; i++ {
			taps[i], err = s.UndoTap(ctx, site, from, taps[i].ID, now)
		}
		return Undone{Taps: taps}, true, err
	}
	return Undone{}, false, nil
}

// madeAt is when an entry was made; zero for Last, which is none.
func (s Service) madeAt(ctx context.Context, site *forecast.Site, number int64) (time.Time, error) {
	if number == Last {
		return time.Time{}, nil
	}
	w, err := s.Archive.Entry(ctx, site.ID, number, site.Zone)
	return w.At, err
}

// lastTaps are what somebody wrote down last of taps, all of that moment; none where that
// is nothing, or not newer than a moment.
func (s Service) lastTaps(ctx context.Context, site *forecast.Site, since time.Time, from auth.Identity) ([]archive.StoredTap, error) {
	all, err := s.Archive.TapEvents(ctx, site.ID, time.Time{}, site.Zone)
	var last []archive.StoredTap
	for i := range all {
		switch e := &all[i]; {
		case e.RecordedBy != from.Name || !e.RecordedAt.After(since) && (len(last) == 0 || !e.RecordedAt.Equal(since)):
		case e.RecordedAt.After(since):
			since, last = e.RecordedAt, []archive.StoredTap{*e}
		default:
			last = append(last, *e)
		}
	}
	return last, err
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
