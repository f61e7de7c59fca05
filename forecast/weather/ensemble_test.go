package weather

import (
	"math"
	"slices"
	"testing"
	"time"
)

var (
	here = Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	noon = time.Date(2026, 3, 10, 17, 0, 0, 0, time.UTC)
)

func flat(pastHours, hours int) Series {
	s := NewSeries(noon.Add(-time.Duration(pastHours)*time.Hour), pastHours+hours+1)
	for i := range s.Hours() {
		s.Col(TemperatureC)[i] = 2
		s.Col(DewPointC)[i] = -1
		s.Col(CloudCoverPct)[i] = 50
		s.Col(WindSpeedMS)[i] = 3
	}
	return s
}

func spread(members []Series, hour int) (mean, sd float64) {
	for i := range members {
		mean += members[i].At(TemperatureC, hour) / float64(len(members))
	}
	for i := range members {
		d := members[i].At(TemperatureC, hour) - mean
		sd += d * d / float64(len(members)-1)
	}
	return mean, math.Sqrt(sd)
}

// Standard deviations of US point forecasts' errors, nine northern stations,
// February to April 2021, fitted to archived bulletins (public domain, data set
// speegled/weather_forecasts): lows 1.87 K at 12 h, 1.96 at 24, 2.09 at 36;
// highs 1.64 at 24, 1.77 at 36, 1.99 at 48; a low and the high after it
// correlate by 0.11.
func TestErrorsAreAsLargeAsForecastsUsuallyErr(t *testing.T) {
	control := flat(0, 24*12)
	members := ErrorMembers(&control, here, noon, 4001, 3)
	// Solar hours at 72° W: 05:30 is 10:18 UTC, 14:30 is 19:18 UTC.
	low, high := 17, 26 // hours ahead of the first low and the next high
	for _, c := range []struct {
		hour int
		want float64
	}{{low, 1.9}, {low + 24, 2.1}, {high, 1.66}, {high + 24, 2.0}} {
		mean, sd := spread(members, c.hour)
		if math.Abs(sd-c.want) > 0.2 || math.Abs(mean-2) > 0.15 {
			t.Errorf("%d h ahead: mean %.2f, standard deviation %.2f K, want about %.2f", c.hour, mean, sd, c.want)
		}
	}
	if _, sd := spread(members, 24*10); sd < 3.5 || sd > 5 {
		t.Errorf("ten days ahead the spread is %.2f K", sd)
	}
	sum := 0.0
	for i := range members {
		sum += (members[i].At(TemperatureC, low) - 2) * (members[i].At(TemperatureC, high) - 2)
	}
	_, a := spread(members, low)
	_, b := spread(members, high)
	if r := sum / float64(len(members)) / a / b; r < 0 || r > 0.3 {
		t.Errorf("a low and its next high correlate by %.2f", r)
	}
}

func TestMembersStayPhysicalAndRepeat(t *testing.T) {
	control := flat(0, 200)
	suns := Suns(&control, here)
	for i := range control.Hours() {
		control.Col(ShortwaveWM2)[i] = CloudyShortwaveWM2(suns[i].ElevationDeg, 50)
	}
	a, b := ErrorMembers(&control, here, noon, 11, 9), ErrorMembers(&control, here, noon, 11, 9)
	for m := range a {
		if !slices.Equal(a[m].Col(TemperatureC), b[m].Col(TemperatureC)) {
			t.Fatal("the same seed makes other members")
		}
		for i := range control.Hours() {
			if a[m].At(DewPointC, i) > a[m].At(TemperatureC, i) || a[m].At(ShortwaveWM2, i) < 0 || a[m].At(WindSpeedMS, i) < 0 ||
				a[m].At(ShortwaveWM2, i) > max(control.At(ShortwaveWM2, i), ClearSkyShortwaveWM2(suns[i].ElevationDeg))+1e-9 {
				t.Fatalf("member %d, hour %d is not physical", m, i)
			}
		}
	}
	if !slices.Equal(a[0].Col(TemperatureC), control.Col(TemperatureC)) {
		t.Error("the first member is not the forecast itself")
	}
	for _, hour := range []int{5, 50, 199} { // the others come in pairs of opposite errors
		if mean, _ := spread(a, hour); math.Abs(mean-control.At(TemperatureC, hour)) > 1e-9 {
			t.Errorf("hour %d: the members' mean is %v, the forecast %v", hour, mean, control.At(TemperatureC, hour))
		}
	}
}

func TestFillGaps(t *testing.T) {
	nan := math.NaN()
	s := NewSeries(noon, 12)
	copy(s.Col(TemperatureC), []float64{nan, 0, nan, nan, 3, nan, nan, nan, nan, nan, nan, 9})
	copy(s.Col(PrecipitationMM), []float64{1, nan, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1})
	s.FillGaps()
	if got := s.Col(TemperatureC)[:5]; !math.IsNaN(got[0]) || got[2] != 1 || got[3] != 2 {
		t.Errorf("short gap: %v", got)
	}
	if !math.IsNaN(s.At(TemperatureC, 7)) {
		t.Error("a gap of six hours between values was bridged")
	}
	if !math.IsNaN(s.At(PrecipitationMM, 1)) {
		t.Error("rain was invented")
	}
	six := NewSeries(noon, 7)
	six.Col(TemperatureC)[0], six.Col(TemperatureC)[6] = 0, 6
	six.FillGaps()
	if six.At(TemperatureC, 3) != 3 {
		t.Error("a six-hourly step was not bridged")
	}
}

func TestAssembleJoinsAtNowAndSaysWhatItAssumed(t *testing.T) {
	s := flat(72, 48)
	for i := range s.Hours() {
		s.Col(CloudCoverPct)[i], s.Col(WindSpeedMS)[i] = math.NaN(), math.NaN()
	}
	e, err := Assemble(&Bulletin{Source: "x", Course: s, ElevationM: 700}, here, noon.Add(20*time.Minute), 1)
	if err != nil {
		t.Fatal(err)
	}
	if !e.Past.End().Equal(noon.Add(time.Hour)) || !e.Futures[0].Start().Equal(noon.Add(time.Hour)) || e.Past.Hours() != 73 ||
		len(e.Futures) != MemberCount {
		t.Errorf("past of %d hours to %s, %d futures from %s", e.Past.Hours(), e.Past.End(), len(e.Futures), e.Futures[0].Start())
	}
	// 400 m lower at 6.5 K a kilometre (ICAO standard atmosphere).
	if got := e.Past.At(TemperatureC, 0); math.Abs(got-4.6) > 1e-9 {
		t.Errorf("%.2f °C at the bush", got)
	}
	for _, want := range []Remark{{Kind: AssumedSky}, {Kind: AssumedWind}, {Kind: CarriedHeight, FromM: 700, ToM: 300}, {Kind: OneCourse}} {
		if !slices.Contains(e.Remarks, want) {
			t.Errorf("no %v in %v", want, e.Remarks)
		}
	}
}

func TestServiceMembersAreUsed(t *testing.T) {
	course := flat(72, 24*8)
	var members []Series
	for m := range 3 {
		own := NewSeries(noon.Truncate(24*time.Hour), 24*7+1)
		for i := 0; i < own.Hours(); i += 3 { // in steps of three hours, no wind of their own
			own.Col(TemperatureC)[i] = float64(m)
		}
		members = append(members, own)
	}
	e, err := Assemble(&Bulletin{Source: "x", Course: course, Members: members, ElevationM: math.NaN()}, here, noon, 1)
	// Three members are each taken seventeen times, and centred on the course.
	if err != nil || !e.FromSource || len(e.Futures) != MemberCount {
		t.Fatalf("%d futures: %v", len(e.Futures), err)
	}
	for _, hour := range []int{5, 20} {
		if mean, _ := spread(e.Futures, hour); math.Abs(mean-course.At(TemperatureC, 72)) > 0.05 {
			t.Errorf("hour %d: the members' mean is %.2f °C, the course's 2", hour, mean)
		}
	}
	for m := range e.Futures {
		if e.Futures[m].Hours() != e.Futures[0].Hours() {
			t.Errorf("member %d: %d hours", m, e.Futures[m].Hours())
		}
	}
	if mean, _ := spread(e.Futures, 24*6); math.Abs(mean-1) > 0.3 {
		t.Errorf("six days ahead the members' mean is %.2f °C, their own 1", mean)
	}
}

// Members that are all alike are as unsure as forecasts are; the course that they go
// with counts; members that differ by more than forecasts err get nothing added.
func TestMembersAreCentredAndWidened(t *testing.T) {
	ensemble := func(courseC float64, apartK float64) Ensemble {
		course := flat(72, 24*12)
		for i := range course.Hours() {
			course.Col(TemperatureC)[i] = courseC
		}
		b := Bulletin{Source: "x", IssuedAt: noon, Course: course, ElevationM: math.NaN()}
		for m := range 50 {
			own := flat(0, 24*12)
			for i := range own.Hours() {
				own.Col(TemperatureC)[i] = 2 + apartK*float64(2*(m%2)-1)
			}
			b.Members = append(b.Members, own)
		}
		e, err := Assemble(&b, here, noon, 1)
		if err != nil || !e.FromSource {
			t.Fatalf("members were not used: %v", err)
		}
		return e
	}
	alike := ensemble(2, 0)
	low, high := 16, 25 // of the hours after the present one
	for _, c := range []struct {
		hour int
		want float64 // see TestErrorsAreAsLargeAsForecastsUsuallyErr
	}{{low, 1.9}, {high, 1.66}, {low + 24, 2.1}, {high + 24, 2.0}} {
		if _, sd := spread(alike.Futures, c.hour); sd < c.want-0.3 || sd > c.want+0.6 { // fifty draws
			t.Errorf("members all alike, %d h ahead: spread %.2f K, forecasts err by %.2f", c.hour, sd, c.want)
		}
	}
	if _, sd := spread(alike.Futures, 24*5); sd < 2.2 {
		t.Errorf("members all alike, five days ahead: spread %.2f K", sd)
	}
	warm, cold := ensemble(5, 0), ensemble(-1, 0)
	for _, c := range []struct {
		hour int
		want float64
	}{{12, 6}, {71, 3}, {24 * 7, 0}} {
		a, _ := spread(warm.Futures, c.hour)
		b, _ := spread(cold.Futures, c.hour)
		if math.Abs(a-b-c.want) > 0.3 {
			t.Errorf("courses 6 K apart leave members %.2f K apart %d h ahead, want about %.0f", a-b, c.hour, c.want)
		}
	}
	wide := ensemble(2, 4)
	for m := range wide.Futures {
		if x := wide.Futures[m].At(TemperatureC, low); math.Abs(math.Abs(x-2)-4) > 1e-9 {
			t.Fatalf("member %d was widened to %.2f °C", m, x)
		}
	}
}

// The mean error of forecasts is taken away, growing over the first half day.
func TestMeanErrorIsLost(t *testing.T) {
	b := Bulletin{Source: "x", IssuedAt: noon, Course: flat(72, 24*8), ElevationM: math.NaN()}
	plain, err := Assemble(&b, here, noon, 1)
	if err != nil {
		t.Fatal(err)
	}
	b.Errors = &CourseErrors{LowK: 0.2, HighK: 0.4}
	corrected, err := Assemble(&b, here, noon, 1)
	if err != nil {
		t.Fatal(err)
	}
	for hour, want := range map[int]float64{0: 0, 16: 0.2, 25: 0.4, 16 + 48: 0.2} {
		if got := corrected.Futures[0].At(TemperatureC, hour) - plain.Futures[0].At(TemperatureC, hour); math.Abs(got-want) > 0.1 {
			t.Errorf("hour %d: %+.2f K, archived forecasts err by %+.2f", hour, got, want)
		}
	}
}

func TestAir(t *testing.T) {
	for _, c := range []struct {
		name            string
		got, want, near float64
	}{
		{"saturation at 0 °C, hPa: WMO Guide no. 8, from memory", SaturationVapourHPa(0), 6.112, 1e-9},
		{"saturation at 20 °C, hPa: 23.37 in steam tables, from memory", SaturationVapourHPa(20), 23.37, 0.05},
		{"dew point of 20 °C and 50 %: 9.3 °C in psychrometric tables, from memory", DewPointFrom(20, 50), 9.27, 0.03},
		{"humidity back", RelativeHumidityFrom(5, DewPointFrom(5, 80)), 80, 1e-6},
		{"standard atmosphere at 1000 m: 898.76 hPa, ICAO Doc 7488, from memory", PressureAtHeight(1013.25, 15, 0, 1000), 898.76, 0.05},
		{"the same by name: 954.61 hPa at 500 m, ICAO Doc 7488, from memory", StandardPressureHPa(500), 954.61, 0.05},
		{"and back down", PressureAtHeight(898.76, 8.5, 1000, 0), 1013.25, 0.06},
	} {
		if math.Abs(c.got-c.want) > c.near {
			t.Errorf("%s: %.4f", c.name, c.got)
		}
	}
}
