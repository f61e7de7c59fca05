package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// thermometer is what a bush's own thermometer had on so many days before now, warmer than
// the weather's lows and highs by so much.
func thermometer(b *weather.Bulletin, zone *time.Location, days int, lowK, highK float64) []records.Observation {
	var list []records.Observation
	for back := days; back >= 1; back-- {
		day := march.In(zone).AddDate(0, 0, -back).Format(time.DateOnly)
		for _, kind := range []records.ObservationKind{records.Low, records.High} {
			from, to, err := kind.Window(day, zone)
			if err != nil {
				panic(err)
			}
			low, high, _ := b.Course.Extremes(from, to)
			c := low + lowK
			if kind == records.High {
				c = high + highK
			}
			list = append(list, records.Observation{Site: "b", Kind: kind, Day: day, At: to, TemperatureC: c})
		}
	}
	return list
}

// A hollow that is colder at dawn than its grid, and as warm by day, has colder lows in the
// outlook and nearly the same highs; a warm slope has both.
func TestOutlookIsOfTheBushsOwnAir(t *testing.T) {
	site := bush(t)
	plain := Inputs{Site: site, Bulletin: waves(1, 7, 20, 10), Now: march, Seed: 1}
	hollow, slope := plain, plain
	hollow.Observed = thermometer(&plain.Bulletin, site.Zone, 12, -2, 0)
	slope.Observed = thermometer(&plain.Bulletin, site.Zone, 12, 1.5, 1.5)
	before, h, s := mustMake(t, plain), mustMake(t, hollow), mustMake(t, slope)
	for d := 1; d < 4; d++ {
		low, high := h.Days[d].TemperatureC.Min-before.Days[d].TemperatureC.Min, h.Days[d].TemperatureC.Max-before.Days[d].TemperatureC.Max
		if low > -1.2 || low < -2.4 || math.Abs(high) > 0.8 {
			t.Errorf("%s: in the hollow the low moves by %.1f K and the high by %.1f", h.Days[d].Date, low, high)
		}
		low, high = s.Days[d].TemperatureC.Min-before.Days[d].TemperatureC.Min, s.Days[d].TemperatureC.Max-before.Days[d].TemperatureC.Max
		if low < 0.8 || low > 2 || high < 0.8 || high > 2 {
			t.Errorf("%s: on the slope the low moves by %.1f K and the high by %.1f", s.Days[d].Date, low, high)
		}
	}
	if o := h.Offset; o.Lows != 12 || o.Highs != 12 || o.DawnWarmerK == nil || *o.DawnWarmerK > -1.2 || math.Abs(*o.DayWarmerK) > 0.8 ||
		o.WarmerK.P90-o.WarmerK.P10 > before.Offset.WarmerK.P90-before.Offset.WarmerK.P10-0.8 {
		t.Errorf("the hollow is told to be %v warmer, of %d lows and %d highs", o.WarmerK, o.Lows, o.Highs)
	}
	if before.Offset.Lows != 0 || before.Offset.DawnWarmerK != nil {
		t.Error("a thermometer that is not there is told of")
	}
	other := plain
	other.Observed = thermometer(&plain.Bulletin, site.Zone, 12, -2, -2)
	for i := range other.Observed {
		other.Observed[i].Site = "c"
	}
	if o := mustMake(t, other); o.Days[1].TemperatureC != before.Days[1].TemperatureC {
		t.Error("another bush's thermometer counts here")
	}
}

// One word from the bush moves tonight's litres: "not dripping" at noon lowers what is
// expected, "dripping" raises it. A word of tomorrow, or of another bush, moves nothing.
func TestOneWordMovesTonight(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped, site.Groups[0].ContainerL = march.AddDate(0, 0, -20), 15
	in := Inputs{Site: site, Bulletin: waves(0, 6, 20, 10), Now: march, Seed: 1}
	noon := time.Date(2026, 3, 10, 12, 0, 0, 0, site.Zone)
	with := func(kind records.ObservationKind, at time.Time, bush string) *Outlook {
		one := in
		one.Observed = []records.Observation{{Site: bush, Kind: kind, At: at, Day: at.Format(time.DateOnly), TemperatureC: math.NaN()}}
		o := mustMake(t, one)
		return &o
	}
	before := mustMake(t, in)
	dry, wet := with(records.NotDripping, noon, "b"), with(records.Dripping, noon, "b")
	held := func(o *Outlook) float64 { return o.Work.Groups[0].HeldL.P50 }
	t.Logf("hangs tonight: %.1f L; not dripping at noon: %.1f L; dripping: %.1f L; tomorrow's: %.1f, %.1f, %.1f L",
		held(&before), held(dry), held(wet), before.Days[1].VolumeL.P50, dry.Days[1].VolumeL.P50, wet.Days[1].VolumeL.P50)
	if held(dry) > 0.8*held(&before) || held(wet) < 1.04*held(&before) {
		t.Errorf("hangs tonight: %.1f L; not dripping at noon: %.1f L; dripping: %.1f L", held(&before), held(dry), held(wet))
	}
	if dry.Days[1].VolumeL.P50 >= before.Days[1].VolumeL.P50 || wet.Days[1].VolumeL.P50 <= before.Days[1].VolumeL.P50 {
		t.Errorf("tomorrow: %.1f L; not dripping today: %.1f L; dripping: %.1f L", before.Days[1].VolumeL.P50, dry.Days[1].VolumeL.P50,
			wet.Days[1].VolumeL.P50)
	}
	if dry.Offset.Words != 1 || before.Offset.Words != 0 {
		t.Errorf("%d words taught", dry.Offset.Words)
	}
	for _, none := range []*Outlook{with(records.NotDripping, noon.AddDate(0, 0, 1), "b"), with(records.NotDripping, noon, "c"),
		with(records.NotDripping, noon.AddDate(0, 0, -40), "b")} {
		if held(none) != held(&before) {
			t.Error("a word of another time or bush counts")
		}
	}
}

// What came is judged by the thermometer where there is one: in a cold hollow days are
// still that ran on the grid, and the lows and highs that were read are those of the past.
func TestWhatCameIsJudgedByTheThermometer(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped = march.AddDate(0, 0, -20)
	b := waves(0, 6, 25, 1)
	in := PastInputs{Site: site, Weather: b.Course, From: b.Course.Start(), To: march}
	grid, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Observed = thermometer(&b, site.Zone, 20, -3, -3)
	read := in.Observed[len(in.Observed)-2] // a night that was colder than the others
	read.TemperatureC -= 2
	in.Observed[len(in.Observed)-2] = read
	hollow, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	ran := func(p *Past) (n int) {
		for _, d := range p.Days {
			if d.Ran {
				n++
			}
		}
		return n
	}
	if ran(&grid) < 10 || ran(&hollow) > 3 {
		t.Errorf("%d days ran on the grid, %d in the hollow", ran(&grid), ran(&hollow))
	}
	for _, d := range hollow.Days {
		if d.Date == read.Day && math.Abs(d.TemperatureC.Min-read.TemperatureC) > 0.7 {
			t.Errorf("%s: the low is %.1f °C, and %.1f were read", d.Date, d.TemperatureC.Min, read.TemperatureC)
		}
	}
}

// Ice in the pails says that it is cold there, and an empty pail that little ran: tonight's
// trees are in line with both.
func TestIceAndAnEmptyPailTeach(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped, site.Groups[0].ContainerL = march.AddDate(0, 0, -20), 15
	at := func(day, hour int) time.Time {
		return time.Date(2026, 3, day, hour, 0, 0, 0, site.Zone)
	}
	visits := func(todayL float64, note string) []records.Visit {
		return []records.Visit{{Group: "pails", CollectedAt: at(8, 17), Taps: 50, VolumeL: 40, BrixPct: math.NaN()},
			{Group: "pails", CollectedAt: at(10, 16), Taps: 50, VolumeL: todayL, BrixPct: math.NaN(), Note: note}}
	}
	of := func(list []records.Visit) *Outlook {
		o := mustMake(t, Inputs{Site: site, Bulletin: waves(0, 6, 20, 10), Visits: list, Now: march, Seed: 1})
		return &o
	}
	some, iced, empty := of(visits(40, "")), of(visits(40, "ice")), of(visits(0, ""))
	t.Logf("40 L: %v, with ice: %v, none: %v", some.Offset.WarmerK, iced.Offset.WarmerK, empty.Offset.WarmerK)
	if iced.Offset.WarmerK.P50 >= some.Offset.WarmerK.P50-0.02 {
		t.Errorf("ice says that the bush is %v warmer, without it %v", iced.Offset.WarmerK, some.Offset.WarmerK)
	}
	if empty.Offset.WarmerK.P50 >= some.Offset.WarmerK.P50 || empty.Days[1].VolumeL.P50 >= 0.8*some.Days[1].VolumeL.P50 {
		t.Errorf("an empty pail: %.1f L tomorrow, %v warmer; 40 L: %.1f L, %v", empty.Days[1].VolumeL.P50, empty.Offset.WarmerK,
			some.Days[1].VolumeL.P50, some.Offset.WarmerK)
	}
}
