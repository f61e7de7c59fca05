package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/verify"
)

// wellFormed is true of XML that a strict parser takes.
func wellFormed(t *testing.T, picture []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(picture))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("%v\n%s", err, picture)
		}
	}
	for _, want := range []string{"<title", "<desc", `role="img"`, "prefers-color-scheme:dark", "@media print"} {
		if !bytes.Contains(picture, []byte(want)) {
			t.Errorf("no %s", want)
		}
	}
	if bytes.Contains(picture, []byte("NaN")) || bytes.Contains(picture, []byte("Inf")) {
		t.Error("a mark is nowhere")
	}
}

func outlook(flow float64) *forecast.Outlook {
	o := &forecast.Outlook{Bush: forecast.Bush{Name: "Kettle <Ridge>"}}
	o.Hours.Start, o.Hours.Now = time.Date(2026, 3, 18, 5, 0, 0, 0, time.UTC), 24
	for i := range 96 {
		t := 5 * math.Sin(float64(i)/24*2*math.Pi)
		f := max(t, 0) * flow
		o.Hours.TemperatureC.P10, o.Hours.TemperatureC.P50, o.Hours.TemperatureC.P90 = append(o.Hours.TemperatureC.P10, t-2),
			append(o.Hours.TemperatureC.P50, t), append(o.Hours.TemperatureC.P90, t+2)
		o.Hours.FlowLH.P10, o.Hours.FlowLH.P50, o.Hours.FlowLH.P90 = append(o.Hours.FlowLH.P10, f/2), append(o.Hours.FlowLH.P50, f),
			append(o.Hours.FlowLH.P90, 2*f)
	}
	o.Days = []forecast.Day{{Date: "2026-03-18", RunProbability: 0.8, VolumeL: forecast.Range{P50: 100}}}
	return o
}

var labels = &Labels{Title: "Kettle <Ridge> & more", Temperature: "Temperature", Flow: "Sap", Now: "now", Freezing: "freezing",
	Range: "range", When: "When", Day: func(t time.Time) string { return t.Format("Mon 2") },
	Date: func(t time.Time) string { return t.Format("2 Jan") }, Hour: func(t time.Time) string { return t.Format("Mon 2 15:04") },
	Units: units.US}

func TestOutlookPictures(t *testing.T) {
	for _, flow := range []float64{0, 3, 4000} {
		for _, size := range []Size{Wide, Narrow} {
			o := outlook(flow)
			marks := []Mark{{At: o.Hours.Start.Add(10 * time.Hour), VolumeL: 40, Words: "40 <b>"},
				{At: o.Hours.Start.Add(12 * time.Hour), VolumeL: math.NaN()}, {At: o.Hours.Start.AddDate(1, 0, 0), VolumeL: 1}}
			p := Outlook(o, marks, labels, size)
			wellFormed(t, p.SVG())
			if svg := string(p.SVG()); !strings.Contains(svg, "Kettle &lt;Ridge&gt; &amp; more") ||
				!strings.Contains(svg, "80\u00a0%") || strings.Contains(svg, "<b>") {
				t.Errorf("%s", svg)
			}
			pixels, err := p.PNG()
			if err != nil {
				t.Fatal(err)
			}
			image, err := png.Decode(bytes.NewReader(pixels))
			if err != nil || image.Bounds().Dx() != int(finer*size.width) || len(pixels) > 250_000 {
				t.Errorf("%v, %d bytes", err, len(pixels))
			}
			if rows := FlowRows(&o.Hours, marks, labels); len(rows) != 97 || rows[11][3] != "11 gal" {
				t.Errorf("%d rows, %v", len(rows), rows[11])
			}
		}
	}
	wellFormed(t, Outlook(&forecast.Outlook{}, nil, labels, Wide).SVG()) // nothing to draw
}

// A page with a strict policy takes no style within the picture, and two pictures
// on one page must not share an id.
func TestInlineHasNoStyleAndItsOwnIDs(t *testing.T) {
	inline := string(Outlook(outlook(3), nil, labels, Narrow).Inline("one"))
	for _, no := range []string{"<style", "style=", "onload", "<script"} {
		if strings.Contains(inline, no) {
			t.Errorf("%s in %s", no, inline)
		}
	}
	for _, id := range []string{`id="one-t"`, `id="one-d"`, `aria-labelledby="one-t one-d"`, `data-rows="96"`, `data-now="24"`} {
		if !strings.Contains(inline, id) {
			t.Errorf("no %s", id)
		}
	}
}

// From three weeks on days are drawn; hours without weather stay open in both.
func TestGapsStayOpen(t *testing.T) {
	for _, days := range []int{5, 60} {
		h := forecast.Hours{Start: time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC), Now: 24 * days}
		for i := range 24 * days {
			v := float64(i % 24)
			if i > 48 && i < 100 {
				v = math.NaN()
			}
			for _, r := range []*forecast.HourRange{&h.TemperatureC, &h.FlowLH} {
				r.P10, r.P50, r.P90 = append(r.P10, v), append(r.P50, v), append(r.P90, v)
			}
		}
		p := Flow(&h, []Mark{{At: h.Start.Add(30 * time.Hour), VolumeL: 400}}, labels, Wide)
		wellFormed(t, p.SVG())
		rows := FlowRows(&h, nil, labels)
		want := 1 + 24*days
		if days > 22 {
			want = 2 + days // it begins at five
		}
		if len(rows) != want || p.frame.rows != want-1 {
			t.Errorf("%d days: %d rows, %d steps", days, len(rows), p.frame.rows)
		}
		if days == 5 && rows[61][1] != "?" {
			t.Errorf("a gap reads %v", rows[61])
		}
	}
}

func TestSeasonPictures(t *testing.T) {
	var lines []SeasonLine
	for year := 2024; year <= 2026; year++ {
		l := SeasonLine{Year: year, Bold: year == 2026, Ahead: 100}
		for i := range 100 {
			l.Days = append(l.Days, SeasonDay{time.Date(year, 1, 20+i, 0, 0, 0, 0, time.UTC), float64(i * (year - 2020))})
		}
		l.Days[3].SumL = math.NaN()
		if l.Bold {
			l.Days, l.Ahead = l.Days[:70], 60
		}
		lines = append(lines, l)
	}
	for _, s := range []Size{Wide, Narrow} {
		wellFormed(t, SeasonSum(lines, labels, s).SVG())
	}
	if rows := SeasonRows(lines, labels); len(rows) != seasonSteps+1 || len(rows[0]) != 4 || rows[1][0] != "1 Feb" || rows[1][1] == "" {
		t.Errorf("%v", rows[:2])
	}
	wellFormed(t, SeasonSum(nil, labels, Wide).SVG())
}

func TestSkillPictures(t *testing.T) {
	visits := []verify.SapVisit{{Date: "2013-02-24", ObservedL: 10, P10: 1, P50: 5, P90: 20}, {Date: "2013-02-25"}}
	for _, s := range []Size{Wide, Narrow} {
		wellFormed(t, Reliability([]verify.Bin{{MeanProbability: 0.1, Frequency: 0.2, Count: 10, StandardError: 0.1},
			{MeanProbability: 0.9, Frequency: 1, Count: 3}}, EnglishReliability("r", "e"), s).SVG())
		wellFormed(t, Reliability(nil, EnglishReliability("r", "e"), s).SVG())
		wellFormed(t, Visits(visits, EnglishVisits("v", visits), s).SVG())
	}
	wellFormed(t, BudYears("b", []verify.BudYear{{Year: 1990, ObservedDOY: 122, PredictedDOY: 118, P10: 114, P90: 123}}).SVG())
}

func TestTicksAreRound(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		count    int
		want     int
	}{{0, 100, 5, 6}, {-13, 58, 4, 4}, {0, 0.7, 3, 4}, {0, 1023, 5, 6}} {
		ticks := scale{from: c.from, to: c.to}.ticks(c.count)
		if len(ticks) < c.want-2 || len(ticks) > c.want+2 {
			t.Errorf("%g to %g: %v", c.from, c.to, ticks)
		}
	}
}

// A picture of hours shows what it is asked to: night, falls with their amounts, ice,
// starts that were and that are expected, visits, another year; its title once at most.
func TestHoursShowWhatIsBeside(t *testing.T) {
	o := outlook(3)
	for i := range o.Hours.FlowLH.P50 {
		fall := 0.0
		if i > 8 && i < 12 || i > 40 && i < 44 {
			fall = 2
		}
		o.Hours.PrecipitationMM = append(o.Hours.PrecipitationMM, fall)
		o.Hours.WoodIce = append(o.Hours.WoodIce, max(-o.Hours.TemperatureC.P50[i]/5, 0))
	}
	said := *labels
	said.Rain, said.Wood = "Rain and snow", "Ice"
	said.Fall = func(mm float64, snow bool) string { return fmt.Sprintf("%v %.0f mm", snow, mm) }
	b := Beside{Night: func(at time.Time) bool { return at.Hour() < 6 }, OtherName: "Last year", OtherLH: o.Hours.FlowLH.P10}
	marks := []Mark{{At: o.Hours.Start.Add(10 * time.Hour), VolumeL: 40, Words: "forty"}}
	for _, s := range []Size{Wide, Narrow} {
		svg := string(FlowBeside(&o.Hours, marks, b, &said, s).SVG())
		wellFormed(t, []byte(svg))
		for _, want := range []string{`class="night"`, `class="rain"`, `class="snow"`, `class="frost"`, `class="hatch"`,
			`class="expected"`, `class="drop"`, `class="measured"`, `class="tag"`, `class="otherfill"`, `class="bandedge"`, "Last year",
			"Rain and snow", "false 6 mm", "<title>forty</title>", ">11 gal<"} {
			if !strings.Contains(svg, want) {
				t.Errorf("no %s", want)
			}
		}
		said.Untitled = true
		if untitled := string(FlowBeside(&o.Hours, marks, b, &said, s).Inline("x")); strings.Count(untitled, "Kettle") != 2 ||
			strings.Contains(untitled, `class="head"`) { // title and description, for those who can't see it
			t.Error("the page's title stands in the picture again")
		}
		said.Untitled = false
	}
	if plain := string(Flow(&outlook(3).Hours, nil, labels, Wide).SVG()); strings.Contains(plain, `class="night"`) ||
		strings.Contains(plain, `class="rain"`) || strings.Contains(plain, `class="otherfill"`) {
		t.Error("what nobody knows is drawn")
	}
}
