package intake

import (
	"context"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// HouseStore is where the sugarhouse's book is kept.
type HouseStore interface {
	House(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredHouse, error)
	PutHouse(ctx context.Context, e records.HouseEntry, key string, now time.Time) (archive.StoredHouse, archive.Outcome, error)
	RemoveHouse(ctx context.Context, site, id string, remove bool, by string, now time.Time) (archive.StoredHouse, error)
}

// NotedHouse is a line of the sugarhouse's book and what became of it.
type NotedHouse struct {
	archive.StoredHouse
	Outcome archive.Outcome // Added or Same
}

// NoteHouse checks that somebody may write in the sugarhouse's book, and what, and keeps
// it once, however often it is sent under a key. A line without a moment is of now.
// Faults that the writer can put right are ErrNotAllowed or *records.HouseFault.
func (s Service) NoteHouse(ctx context.Context, site *forecast.Site, from auth.Identity, e records.HouseEntry, key string,
	now time.Time) (NotedHouse, error) {
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return NotedHouse{}, ErrNotAllowed
	}
	if e.At.IsZero() {
		e.At = now.In(site.Zone).Truncate(time.Second)
	}
	if err := errors.Join(e.Check(now), panOf(site, &e)); err != nil {
		return NotedHouse{}, err
	}
	e.Site, e.By = site.ID, from.Name
	stored, outcome, err := s.Archive.PutHouse(ctx, e, key, now)
	return NotedHouse{stored, outcome}, err
}

// panOf puts a pan's name as the settings write it; a *records.HouseFault where they have none
// of that name.
func panOf(site *forecast.Site, e *records.HouseEntry) error {
	ids := site.Boiling.PanIDs()
	i := slices.IndexFunc(ids, func(id string) bool { return strings.EqualFold(id, e.Pan) })
	switch {
	case i >= 0 && e.Kind == records.Boiled:
		e.Pan = ids[i]
	case e.Pan != "":
		return &records.HouseFault{Kind: "pan", What: strings.Join(ids, ", ")}
	}
	return nil
}

// PanName is what a pan is called: by its id, but for the one in which syrup is finished.
func PanName(w *message.Words, id string) string {
	if id == forecast.FinishingPan {
		return w.Say("house_pan_finishing", nil)
	}
	return id
}

// HouseBook is this winter's book of a site's sugarhouse, oldest first.
func (s Service) HouseBook(ctx context.Context, site *forecast.Site, now time.Time) ([]archive.StoredHouse, error) {
	return s.Archive.House(ctx, site.ID, season.WinterStart(now, site.Zone), site.Zone)
}

// TakeBackHouse takes a line out of the book, or brings it back. Everybody takes back
// what is their own, keepers what is anybody's: else ErrNotAllowed; archive.ErrNoEntry
// where the site has no such line.
func (s Service) TakeBackHouse(ctx context.Context, site *forecast.Site, from auth.Identity, id string, remove bool,
	now time.Time) (archive.StoredHouse, error) {
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return archive.StoredHouse{}, ErrNotAllowed
	}
	if !from.Role.May(auth.Keeper) {
		book, err := s.Archive.House(ctx, site.ID, time.Time{}, site.Zone)
		if err != nil {
			return archive.StoredHouse{}, err
		}
		for i := range book {
			if book[i].ID == id && book[i].RecordedBy != from.Name {
				return archive.StoredHouse{}, ErrNotAllowed
			}
		}
	}
	return s.Archive.RemoveHouse(ctx, site.ID, id, remove, from.Name, now)
}

// lastHouse is what somebody wrote last in the book; nil where that is nothing, or not
// newer than a moment.
func (s Service) lastHouse(ctx context.Context, site *forecast.Site, since time.Time, from auth.Identity) (*archive.StoredHouse, error) {
	book, err := s.Archive.House(ctx, site.ID, time.Time{}, site.Zone)
	var last *archive.StoredHouse
	for i := range book {
		if e := &book[i]; e.RecordedBy == from.Name && e.RecordedAt.After(since) {
			last, since = e, e.RecordedAt
		}
	}
	return last, err
}

// Say tells what was noted, or that it was known.
func (n *NotedHouse) Say(w *message.Words) string {
	if n.Outcome == archive.Same {
		return w.Say("house_same", nil)
	}
	values := houseValues(w, &n.HouseEntry)
	if values["Syrup"] = ""; n.Kind == records.Boiled && n.SyrupL > 0 {
		syrup, unit := w.FineVolume(n.SyrupL)
		values["Syrup"] = w.Say("house_boiled_syrup", map[string]any{"Syrup": syrup, "Unit": unit})
	}
	if n.Kind == records.SyrupLeft {
		values["Syrup"], values["SyrupUnit"] = w.Volume(n.SyrupL)
	}
	return w.Say("house_"+keyOf(&n.HouseEntry), values)
}

// keyOf is how the words of a line end: sap that was tipped out may have a figure.
func keyOf(e *records.HouseEntry) string {
	if e.Kind == records.TippedOut && e.SapL > 0 {
		return string(e.Kind) + "_sap"
	}
	return string(e.Kind)
}

// SayHouse tells what a line of the book says.
func SayHouse(w *message.Words, e *records.HouseEntry) string {
	return w.Say("house_what_"+keyOf(e), houseValues(w, e))
}

func houseValues(w *message.Words, e *records.HouseEntry) map[string]any {
	given := func(x float64) float64 {
		if math.IsNaN(x) {
			return 0
		}
		return x
	}
	values := map[string]any{"Wood": w.Number(strconv.FormatFloat(given(e.WoodCords), 'f', 2, 64))}
	if values["Pan"] = ""; e.Pan != "" {
		values["Pan"] = w.Say("house_boiled_pan", map[string]any{"Name": PanName(w, e.Pan)})
	}
	values["Sap"], values["Unit"] = w.Volume(given(e.SapL))
	values["Syrup"], values["SyrupUnit"] = w.Volume(given(e.SyrupL))
	if b := e.Sugar; b != nil {
		values["Above"] = w.Rise(b.LeftC - b.WaterC)
		values["Outcome"] = w.Say("sugar_"+b.Outcome, nil)
	}
	return values
}

// SayHouseFault tells why a line was not kept; false where the writer can do nothing
// about it.
func SayHouseFault(w *message.Words, err error) (string, bool) {
	var fault *records.HouseFault
	switch {
	case errors.Is(err, ErrNotAllowed):
		return w.Say("intake_barred", nil), true
	case !errors.As(err, &fault):
		return "", false
	case fault.Kind == "pan":
		return w.Say("house_wrong", map[string]any{"Why": w.Say("house_fault_pan", map[string]any{"Pans": fault.What})}), true
	case fault.Kind == "much":
		return w.Say("house_wrong", map[string]any{"Why": w.Say("house_fault_much_"+fault.What, nil)}), true
	}
	return w.Say("house_wrong", map[string]any{"Why": w.Say("house_fault_"+fault.Kind, nil)}), true
}
