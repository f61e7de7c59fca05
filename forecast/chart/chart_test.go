package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
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
		o.Hours.TemperatureC.P10, o.Hours.TemperatureC.P50, o.Hours.TemperatureC.P90 = append(o.Hours.TemperatureC.P10, t-2), append(o.Hours.TemperatureC.P50, t), append(o.Hours.TemperatureC.P90, t+2)
		o.Hours.FlowLH.P10, o.Hours.FlowLH.P50, o.Hours.FlowLH.P90 = append(o.Hours.FlowLH.P10, f/2), append(o.Hours.FlowLH.P50, f), append(o.Hours.FlowLH.P90, 2*f)
	}
	o.Days = []forecast.Day{{Date: "2026-03-18", RunProbability: 0.8, VolumeL: forecast.Range{P50: 100}}}
	return o
}

var labels = &Labels{Title: "Kettle <Ridge> & more", Temperature: "Temperature", Flow: "Sap", Now: "now", Freezing: "freezing", Range: "range", Day: func(t time.Time) string { return t.Format("Mon 2") }, Units: units.US}

func TestOutlookPictures(t *testing.T) {
	for _, flow := range []float64{0, 3, 4000} {
		o := outlook(flow)
		picture := Outlook(o, labels)
		wellFormed(t, picture)
		if !strings.Contains(string(picture), "Kettle &lt;Ridge&gt; &amp; more") || !strings.Contains(string(picture), "80 %") {
			t.Errorf("%s", picture)
		}
		pixels, err := OutlookPNG(o, labels)
		if err != nil {
			t.Fatal(err)
		}
		image, err := png.Decode(bytes.NewReader(pixels))
		if err != nil || image.Bounds().Dx() != 2*outlookWidth || len(pixels) > 200_000 {
			t.Errorf("%v, %d bytes", err, len(pixels))
		}
	}
	wellFormed(t, Outlook(&forecast.Outlook{}, labels)) // nothing to draw
}

func TestSkillPictures(t *testing.T) {
	wellFormed(t, Reliability("r", "e", []verify.Bin{{MeanProbability: 0.1, Frequency: 0.2, Count: 10, StandardError: 0.1}, {MeanProbability: 0.9, Frequency: 1, Count: 3}}))
	wellFormed(t, Reliability("r", "e", nil))
	wellFormed(t, Visits("v", []verify.SapVisit{{Date: "2013-02-24", ObservedL: 10, P10: 1, P50: 5, P90: 20}, {Date: "2013-02-25"}}))
	wellFormed(t, BudYears("b", []verify.BudYear{{Year: 1990, ObservedDOY: 122, PredictedDOY: 118, P10: 114, P90: 123}}))
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
