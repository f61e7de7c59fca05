package records

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// The night and the day that a low or high means.
func TestWhichNightIsMeant(t *testing.T) {
	for _, c := range []struct {
		kind ObservationKind
		at   string
		want string
	}{{Low, "2026-03-21 07:00", "2026-03-21"}, {Low, "2026-03-21 20:00", "2026-03-21"}, {Low, "2026-03-21 01:30", "2026-03-20"},
		{High, "2026-03-21 07:00", "2026-03-20"}, {High, "2026-03-21 17:00", "2026-03-21"}} {
		at, err := time.Parse("2006-01-02 15:04", c.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.kind.MeansDay(at); got != c.want {
			t.Errorf("%s at %s is of %s, want %s", c.kind, c.at, got, c.want)
		}
	}
}

// A figure in the other unit is asked about; what a thermometer in the sun says is not
// kept; a hollow's cold is.
func TestObservationsAreDoubted(t *testing.T) {
	now := time.Date(2026, 3, 21, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		kind   ObservationKind
		c      float64
		knownC float64
		want   string
	}{
		{Low, 24, -4, "unit true -4.4"}, {Low, -20, -4, "unit false -4.0"}, {Low, -12, -4, ""}, {Low, -9, -4, ""}, {High, 27, 9, "far"},
		{High, 41, 5, "unit true 5.0"},
		{Low, 24, math.NaN(), ""}, {High, 75, 5, "figure"}, {Low, math.NaN(), -4, "figure"}, {"cloud", 1, 1, "kind"},
		{Dripping, math.NaN(), -20, ""},
	} {
		o := Observation{Kind: c.kind, TemperatureC: c.c}
		o.Settle(now, time.UTC)
		err := o.Check(now, c.knownC)
		var fault *ObservationFault
		got := ""
		if errors.As(err, &fault) {
			if got = fault.Kind; got == "unit" {
				got += fmt.Sprintf(" %t %.1f", fault.InF, fault.OtherC)
			}
			if fault.Doubt() != (fault.Kind == "unit" || fault.Kind == "far") {
				t.Errorf("%s may be forced: %t", fault.Kind, fault.Doubt())
			}
		}
		if got != c.want {
			t.Errorf("%s %g where %g is known: %q, want %q", c.kind, c.c, c.knownC, got, c.want)
		}
	}
	for _, day := range []string{"2026-03-23", "yesterday"} {
		o := Observation{Kind: Low, TemperatureC: -3, Day: day}
		o.Settle(now, time.UTC)
		if o.Check(now, -3) == nil {
			t.Errorf("the low of %s is taken", day)
		}
	}
}

// Lows and highs are taken from nights and days of which enough is known.
func TestLowsAndHighsOfReadings(t *testing.T) {
	zone := time.FixedZone("", -5*3600)
	begin := time.Date(2026, 3, 20, 12, 0, 0, 0, zone)
	var file strings.Builder
	file.WriteString("time,temp_c\n")
	for i := range 60 * 6 { // ten minutes
		at := begin.Add(time.Duration(i) * 10 * time.Minute)
		if at.Day() == 21 && at.Hour() >= 9 && at.Hour() < 13 { // silent for half the day's best
			continue
		}
		c := 4 - 8*math.Cos(2*math.Pi*(float64(at.Hour())+float64(at.Minute())/60-5)/24)
		fmt.Fprintf(&file, "%s,%.2f\n", at.Format("2006-01-02 15:04:05"), c)
	}
	list, err := ReadObservations(strings.NewReader(file.String()), "station.csv", zone, begin.Add(72*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for i := range list {
		got = append(got, fmt.Sprintf("%s %s %.1f", list[i].Day, list[i].Kind, list[i].TemperatureC))
	}
	if want := "2026-03-21 low -4.0; 2026-03-22 low -4.0; 2026-03-22 high 12.0"; strings.Join(got, "; ") != want {
		t.Errorf("%s, want %s", strings.Join(got, "; "), want)
	}
	var b bytes.Buffer
	if err := WriteObservations(&b, list, zone); err != nil {
		t.Fatal(err)
	}
	again, err := ReadObservations(&b, "again.csv", zone, begin.Add(72*time.Hour))
	if err != nil || len(again) != len(list) {
		t.Fatalf("%d of %d, %v", len(again), len(list), err)
	}
	for i := range list {
		if ofIt, same := list[i].Says(&again[i]); !ofIt || !same {
			t.Errorf("%d comes back as another", i)
		}
	}
	if _, err := ReadObservations(strings.NewReader("time,temperature_c\n2026-03-20 07:00,-4\n"), "one.csv", zone,
		begin.Add(72*time.Hour)); err == nil {
		t.Error("one reading is a night")
	}
}
