package web

import (
	"errors"
	"math"
	"net/http"
	"strconv"
	"strings"

	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// bookLine is a line of the sugarhouse's book as the page shows it.
type bookLine struct {
	ID, When, Says string
	May            bool // take it back
}

// mostLines is how many lines of the book a page shows.
const mostLines = 12

// book are the newest lines of this winter's book.
func (p *Pages) book(r *http.Request, v *view) ([]bookLine, error) {
	all, err := p.Intake.HouseBook(r.Context(), v.Site, p.Now())
	if err != nil {
		return nil, err
	}
	var out []bookLine
	for i := len(all) - 1; i >= 0 && len(out) < mostLines; i-- {
		e := &all[i]
		out = append(out, bookLine{ID: e.ID, When: v.Day(e.At) + " " + v.words.Clock(e.At), Says: intake.SayHouse(v.words, &e.HouseEntry),
			May: v.May("keeper") || e.RecordedBy == v.writer().Name})
	}
	return out, nil
}

// house writes in the sugarhouse's book, or takes a line back.
func (p *Pages) house(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	var err error
	done, back := "done_house", "/boil"
	if r.PostFormValue("page") == "sugar" {
		back = "/sugar"
	}
	if id := r.PostFormValue("take_back"); id != "" {
		done = "done_house_undone"
		_, err = p.Intake.TakeBackHouse(r.Context(), v.Site, v.writer(), id, true, p.Now())
	} else {
		err = p.writeHouse(r, v)
	}
	var wrong *wrongEntry
	switch {
	case errors.As(err, &wrong):
		v.Title, v.Body = v.T("fault_title"), v.why(wrong)
		p.send(w, r, http.StatusUnprocessableEntity, "fault", v)
	case errors.Is(err, archive.ErrNoEntry):
		p.fault(w, r, http.StatusNotFound, "fault_no_record")
	case errors.Is(err, intake.ErrNotAllowed):
		p.fault(w, r, http.StatusForbidden, "fault_not_yours")
	case err != nil:
		p.failed(w, r, err)
	default:
		http.Redirect(w, r, v.At(back+"?done="+done), http.StatusSeeOther)
	}
}

// writeHouse keeps what a form says: one boil, or each figure of what lies there now.
func (p *Pages) writeHouse(r *http.Request, v *view) error {
	all := blankEntry("")
	system := v.system
	if s, err := units.ParseSystem(r.PostFormValue("units")); err == nil { // the page was made for
		system = s
	}
	one, _ := units.VolumeIn(1, system)
	for field, into := range map[string]*float64{"sap": &all.SapL, "syrup": &all.SyrupL, "wood": &all.WoodCords, "hours": &all.Hours} {
		text := strings.TrimSpace(r.PostFormValue(field))
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil || !plainNumber.MatchString(text) {
			return &wrongEntry{key: "entry_wrong_volume"}
		}
		if *into = x; field == "sap" || field == "syrup" {
			*into = x / one
		}
	}
	entries, err := houseEntries(r, v, &all, system)
	if err != nil {
		return err
	}
	if len(entries) == 0 {
		return &wrongEntry{key: "entry_wrong_volume"}
	}
	for i := range entries {
		key := ""
		if given := r.PostFormValue("key"); given != "" && len(given) <= 64 {
			key = v.Site.ID + "/page/" + given
		}
		_, err := p.Intake.NoteHouse(r.Context(), v.Site, v.writer(), entries[i], key, p.Now())
		if said, known := intake.SayHouseFault(v.words, err); known {
			return &wrongEntry{say: said}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// blankEntry has no figure yet.
func blankEntry(kind records.HouseKind) records.HouseEntry {
	nan := math.NaN()
	return records.HouseEntry{Kind: kind, SapL: nan, SyrupL: nan, SugarKg: nan, WoodCords: nan, Hours: nan}
}

// houseEntries makes entries of the figures of a form: one, or one for each figure of what
// is left.
func houseEntries(r *http.Request, v *view, all *records.HouseEntry, system units.System) ([]records.HouseEntry, error) {
	switch r.PostFormValue("do") {
	case "boiled":
		e := *all
		e.Kind, e.Pan = records.Boiled, r.PostFormValue("pan")
		return []records.HouseEntry{e}, nil
	case "tipped_out":
		e := blankEntry(records.TippedOut)
		e.SapL = all.SapL
		return []records.HouseEntry{e}, nil
	case "stirred":
		batch, err := readBatch(r, v, system)
		if err != nil {
			return nil, err
		}
		e := blankEntry(records.Stirred)
		e.SyrupL, e.SugarKg, e.Sugar = all.SyrupL, batch.kg, &batch.SugarBatch
		return []records.HouseEntry{e}, nil
	case "left":
		return leftEntries(all), nil
	}
	return nil, nil
}

func leftEntries(all *records.HouseEntry) []records.HouseEntry {
	var entries []records.HouseEntry
	if !math.IsNaN(all.SapL) {
		e := blankEntry(records.SapLeft)
		e.SapL = all.SapL
		entries = append(entries, e)
	}
	if !math.IsNaN(all.SyrupL) {
		e := blankEntry(records.SyrupLeft)
		e.SyrupL = all.SyrupL
		entries = append(entries, e)
	}
	if !math.IsNaN(all.WoodCords) {
		e := blankEntry(records.WoodLeft)
		e.WoodCords = all.WoodCords
		entries = append(entries, e)
	}
	return entries
}
