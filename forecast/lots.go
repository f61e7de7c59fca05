package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// Lot is one boil with the sap that went into it: what a buyer's or an inspector's question
// goes back to. Litres and °Brix that nobody wrote down are NaN.
type Lot struct {
	ID         string // the local date and the number of the boil on it, 2026-03-17-1
	At         time.Time
	SapL       float64
	SyrupL     float64
	SugarKg    float64
	Brix       float64  // of the sap
	Groups     []string // ids, whose sap it was
	From, To   string   // local dates on which it was carried in, "" where no round is on record
	Filter     string
	Containers string
	Note       string
	By         string // id of the person
}

// Words in a boil's note before what a lot was filtered through and filled into.
var (
	filterWords    = []string{"filter", "filtered", "filtre", "filtré"}
	containerWords = []string{"containers", "container", "bottles", "jars", "contenants", "bouteilles", "conserves"}
)

// Lots are the boils of a book up to a moment. Sap is taken by the order in which it was carried in,
// as the stock is.
func Lots(site *Site, visits []records.Visit, book []records.HouseEntry, now time.Time) []Lot {
	in := Inputs{Site: *site, Visits: visits, House: book, Now: now}
	s := &shelf{zone: site.Zone, wood: math.NaN(),
		life: livesOf(&weather.Ensemble{Futures: []weather.Series{weather.NewSeries(now, 1)}, Likely: weather.NewSeries(now, 1)})}
	type carried struct {
		at           time.Time
		group        string
		litres, brix float64
	}
	var sap []carried
	sugar := sugarOfGroups(&in)
	for g, visits := range in.visitsByGroup() {
		usual, _ := sugar.brix(g)
		for _, v := range visits {
			if brix := v.BrixPct; v.Collected() && v.VolumeL > 0 {
				if math.IsNaN(brix) {
					brix = usual
				}
				sap = append(sap, carried{v.CollectedAt, site.Groups[g].ID, v.VolumeL, brix})
			}
		}
	}
	slices.SortStableFunc(sap, func(a, b carried) int { return a.at.Compare(b.at) })
	var lots []Lot
	boils := map[string]int{}
	for _, e := range in.houseEntries() {
		for ; len(sap) > 0 && !sap[0].at.After(e.At); sap = sap[1:] {
			s.carryIn(sap[0].at, sap[0].group, sap[0].litres, sap[0].brix, 0, sap[0].at)
		}
		before := s.clone()
		s.enter(&e)
		if e.Kind != records.Boiled {
			continue
		}
		day := e.At.In(site.Zone).Format(time.DateOnly)
		boils[day]++
		lot := Lot{ID: fmt.Sprintf("%s-%d", day, boils[day]), At: e.At, SapL: e.SapL, SyrupL: e.SyrupL, SugarKg: e.SugarKg,
			Brix: math.NaN(), By: e.By}
		lot.takeFrom(before, s)
		lot.read(e.Note)
		lots = append(lots, lot)
	}
	return lots
}

// takeFrom finds what of a shelf went into the lot.
func (l *Lot) takeFrom(before, after *shelf) {
	litres, brixL := 0.0, 0.0
	for i := range before.batches {
		b := before.batches[i]
		if k := slices.IndexFunc(after.batches, func(a batch) bool { return a.day == b.day }); k >= 0 {
			b.litres, b.brixL = b.litres-after.batches[k].litres, b.brixL-after.batches[k].brixL
		}
		if b.litres <= 0 {
			continue
		}
		litres, brixL = litres+b.litres, brixL+b.brixL
		if l.From == "" {
			l.From = b.day
		}
		l.To = b.day
		for _, g := range b.groups {
			if !slices.Contains(l.Groups, g) {
				l.Groups = append(l.Groups, g)
			}
		}
	}
	slices.SortFunc(l.Groups, cmp.Compare[string])
	if litres > 0 {
		l.Brix = brixL / litres
	}
}

// read takes filter and containers out of a note such as "filter: wool; jars: 24 x 500 mL".
func (l *Lot) read(note string) {
	var rest []string
	for part := range strings.SplitSeq(note, ";") {
		word, what, named := strings.Cut(part, ":")
		word, what = strings.ToLower(strings.TrimSpace(word)), strings.TrimSpace(what)
		switch {
		case named && slices.Contains(filterWords, word):
			l.Filter = what
		case named && slices.Contains(containerWords, word):
			l.Containers = what
		case strings.TrimSpace(part) != "":
			rest = append(rest, strings.TrimSpace(part))
		}
	}
	l.Note = strings.Join(rest, "; ")
}
