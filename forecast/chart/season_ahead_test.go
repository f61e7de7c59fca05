package chart

import (
	"fmt"
	"regexp"
	"strconv"
	"testing"
	"time"

	"thawline/forecast"
)

// aheadView is a season in its middle, beside two others.
func aheadView() *SeasonView {
	sap := &forecast.SeasonSap{Whole: true, From: "2026-03-01", Today: 20, SoFarL: forecast.Range{P10: 900, P50: 1000, P90: 1100},
		TotalL: forecast.Range{P10: 1500, P50: 2000, P90: 2600}}
	for d := range 60 {
		sum := min(float64(d)*50, 2000)
		sap.Days.P10, sap.Days.P50, sap.Days.P90 = append(sap.Days.P10, 0.8*sum), append(sap.Days.P50, sum), append(sap.Days.P90, 1.3*sum)
		sap.Good = append(sap.Good, min(max(1-float64(d-30)/20, 0), 1))
	}
	s := &forecast.Season{Sap: sap, End: forecast.SeasonEnd{P10: "2026-04-02", P50: "2026-04-10", P90: "2026-04-18"},
		LastRun: forecast.SeasonEnd{P50: "2026-04-28"},
		Buds: &forecast.BudDates{Species: "sugar maple",
			SeasonEnd: forecast.SeasonEnd{P10: "2026-05-01", P50: "2026-05-07", P90: "2026-05-12"}},
		Warmth: &forecast.Warmth{From: "2026-02-01", Today: 48, SoFar: 40, TurnsAt: forecast.Range{P10: 106, P50: 144, P90: 195},
			Ended: []forecast.WarmthEnd{{On: "2025-04-08", Warmth: 130}}}}
	var heat []float64
	for d := range 100 {
		heat = append(heat, float64(d*d)/50)
	}
	s.Warmth.Days = forecast.DayRange{P10: heat, P50: heat, P90: heat}
	v := &SeasonView{Year: 2026, Season: s}
	for year := 2024; year < 2026; year++ {
		l := SeasonLine{Year: year}
		for i := range 60 {
			l.Days = append(l.Days, SeasonDay{time.Date(year, 2, 20+i, 0, 0, 0, 0, time.UTC), float64(i * (year - 2000))})
		}
		v.Others, v.Heats = append(v.Others, l), append(v.Heats, HeatLine{year, heat})
	}
	return v
}

var aheadWords = &SeasonWords{Sap: "Gallons so far", Today: "today", Good: "Good sap", GoodEnds: "ends 2 Apr to 18 Apr",
	Off: "May taste off", OffFrom: "from 2 Apr",
	Buds: "Leaf buds", BudsOpen: "open 1 May to 12 May", Heat: "Heat sum", HeatNow: "72 so far", Turns: "turns at 260", HeatFactor: 1.8,
	Gave: func(year int, l float64) string { return fmt.Sprintf("%d: %.0f L", year, l) }}

var bar = regexp.MustCompile(`<rect class="(fade|likely|turning)" x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)"`)

// Where the season may end, the band and the bar of good sap thin out from day to day until
// nothing is left, and what may taste off grows: the end of the forecast does not look like
// the end of the season.
func TestTheEndFades(t *testing.T) {
	for _, s := range []Size{Wide, Narrow} {
		v := aheadView()
		p := SeasonAhead(v, aheadWords, labels, s)
		wellFormed(t, p.SVG())
		if _, err := p.PNG(); err != nil {
			t.Error(err)
		}
		if rows := SeasonAheadRows(v, aheadWords, labels,
			[]string{"Day", "Likely", "Low", "High", "Good", "Heat"}); len(rows)-1 != p.frame.rows || len(rows[0]) != 8 {
			t.Errorf("%d rows of %d cells, %d steps", len(rows)-1, len(rows[0]), p.frame.rows)
		}
		widths := map[string][]float64{}
		for _, m := range bar.FindAllStringSubmatch(string(p.SVG()), -1) {
			w, err := strconv.ParseFloat(m[3], 64)
			if err != nil {
				t.Fatal(err)
			}
			widths[m[1]] = append(widths[m[1]], w)
		}
		for class, list := range widths {
			first, last := list[0], list[len(list)-1]
			for i := 1; i < len(list); i++ {
				if class == "turning" && list[i] < list[i-1]-0.11 || class != "turning" && list[i] > list[i-1]+0.11 {
					t.Errorf("%s: %v", class, list)
					break
				}
			}
			if class == "turning" && first > last/4 || class != "turning" && last > first/4 {
				t.Errorf("%s from %.1f to %.1f", class, first, last)
			}
		}
		if len(widths) != 3 || len(widths["fade"]) < 10 {
			t.Errorf("bars: %v", widths)
		}
	}
	bare := aheadView()
	bare.Season.Buds, bare.Season.Warmth, bare.Others, bare.Heats = nil, nil, nil, nil
	wellFormed(t, SeasonAhead(bare, aheadWords, labels, Narrow).SVG())
}

// At the end of a season, where the warmth is beyond all that makes sap turn, its figure does
// not strike through the name of its picture.
func TestTheHeatSumStaysBelowItsName(t *testing.T) {
	at := func(says string, p *Picture) float64 {
		m := regexp.MustCompile(`<text class="[^"]*" x="[0-9.]+" y="([0-9.]+)"[^>]*>` + says + `<`).FindStringSubmatch(string(p.SVG()))
		if m == nil {
			t.Fatalf("%s is not in the picture", says)
		}
		y, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		return y
	}
	for _, s := range []Size{Wide, Narrow} {
		v := aheadView()
		v.Season.Warmth.SoFar = 1.2 * v.Season.Warmth.TurnsAt.P90
		p := SeasonAhead(v, aheadWords, labels, s)
		if name, figure := at("Heat sum", &p), at("72 so far", &p); figure-name < 18 {
			t.Errorf("the name is at %.0f, the figure at %.0f", name, figure)
		}
	}
}
