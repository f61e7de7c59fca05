package records

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"thawline/forecast/table"
)

// Reading is what a thermometer said at a moment.
type Reading struct {
	At           time.Time
	TemperatureC float64
}

// coveredShare is the part of the hours of a night, or of a day, that readings must be
// of for its low or high to be known.
const coveredShare = 0.8

// FromReadings are the lows and highs of readings in any order: of each night and each
// day of which enough is known, and that is over at a moment.
func FromReadings(readings []Reading, zone *time.Location, now time.Time) []Observation {
	readings = slices.Clone(readings)
	slices.SortFunc(readings, func(a, b Reading) int { return a.At.Compare(b.At) })
	type of struct {
		o     Observation
		hours map[int64]bool
		need  int
	}
	days := map[string]*of{}
	for _, r := range readings {
		for _, kind := range []ObservationKind{Low, High} {
			for ahead := range 2 { // a low may be of tomorrow's morning
				day := r.At.In(zone).AddDate(0, 0, ahead).Format(time.DateOnly)
				from, to, err := kind.Window(day, zone)
				if err != nil || r.At.Before(from) || !r.At.Before(to) || to.After(now) {
					continue
				}
				d := days[string(kind)+day]
				if d == nil {
					d = &of{o: Observation{Kind: kind, Day: day, At: to, TemperatureC: r.TemperatureC}, hours: map[int64]bool{},
						need: int(math.Ceil(coveredShare * to.Sub(from).Hours()))}
					days[string(kind)+day] = d
				}
				d.hours[r.At.Unix()/3600] = true
				if kind == Low == (r.TemperatureC < d.o.TemperatureC) {
					d.o.TemperatureC = r.TemperatureC
				}
			}
		}
	}
	var out []Observation
	for _, d := range days {
		if len(d.hours) >= d.need {
			out = append(out, d.o)
		}
	}
	slices.SortFunc(out, func(a, b Observation) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(b.Kind, a.Kind)) })
	return out
}

var observationColumns = []string{"at", "kind", "day", "temperature_c", "group", "sign"}

// mostReadings is how many rows a station's file may have: ten years of one every quarter
// of an hour.
const mostReadings = 400_000

// AreObservations reports whether a file of observations begins like this, not a notebook.
func AreObservations(head []byte) bool {
	first, _, _ := bytes.Cut(bytes.ToLower(head), []byte("\n"))
	return (bytes.Contains(first, []byte("temp")) || bytes.Contains(first, []byte("sign"))) && !bytes.Contains(first, []byte("volume"))
}

// ReadObservations reads a weather station's file, or observations as WriteObservations
// writes them, in the order of the file. A station's has columns time (RFC 3339 or a
// local time) and temperature_c or temperature_f, in rows as fine as it likes; its lows and
// highs are taken. Errors call the file by name and tell everything that is wrong, with
// line, column and remedy.
func ReadObservations(r io.Reader, name string, zone *time.Location, now time.Time) ([]Observation, error) {
	t, err := table.NewReader(r, name, append([]string{"temperature_f"}, observationColumns...),
		table.Names{"time": "at", "timestamp": "at", "date": "at", "quand": "at", "when": "at", "temp_c": "temperature_c",
			"temp_f": "temperature_f"})
	if err != nil {
		return nil, err
	}
	t.Limit(mostReadings)
	t.Require("at")
	if err := t.Err(); err != nil {
		return nil, err
	}
	var out []Observation
	var readings []Reading
	for row := range t.Rows() {
		at, _, err := ParseMoment(row.Text("at"), zone)
		if err != nil {
			row.Fail("at", row.Text("at")+": not a moment", err.Error())
			continue
		}
		c := row.Number("temperature_c")
		if t.Has("temperature_f") && math.IsNaN(c) {
			c = (row.Number("temperature_f") - 32) / 1.8
		}
		if t.Has("kind") {
			o := Observation{Kind: ObservationKind(row.Text("kind")), At: at, Day: row.Text("day"), TemperatureC: c,
				Group: plainText(row.Text("group")), Sign: plainText(row.Text("sign"))}
			o.Settle(at, zone)
			if err := o.Check(now, math.NaN()); err != nil {
				row.Fail("kind", "not kept", err.Error())
			}
			out = append(out, o)
			continue
		}
		if !math.IsNaN(c) {
			readings = append(readings, Reading{At: at, TemperatureC: c})
		}
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	if t.Has("kind") {
		return out, nil
	}
	if out = FromReadings(readings, zone, now); len(out) == 0 {
		return nil, errors.New(name + ": no night and no day of which four hours in five are known: give time and temperature_c, at least one row an hour")
	}
	return out, nil
}

// WriteObservations writes observations as ReadObservations reads them.
func WriteObservations(w io.Writer, list []Observation, zone *time.Location) error {
	out := csv.NewWriter(w)
	if err := out.Write(observationColumns); err != nil {
		return fmt.Errorf("writing observations: %w", err)
	}
	for i := range list {
		o := &list[i]
		temperature := ""
		if !math.IsNaN(o.TemperatureC) {
			temperature = number(o.TemperatureC)
		}
		if err := out.Write([]string{o.At.In(zone).Format(time.RFC3339), string(o.Kind), o.Day, temperature, NoFormula(o.Group),
			NoFormula(o.Sign)}); err != nil {
			return fmt.Errorf("writing observations: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing observations: %w", err)
	}
	return nil
}
