package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// springOfYear is a winter and spring that warm evenly, with what was seen in it.
func springOfYear(site *Site, year int, seen ...records.Observation) notebook.Season {
	from := time.Date(year-1, 11, 1, 0, 0, 0, 0, site.Zone)
	s := notebook.Season{To: from.AddDate(0, 8, 0), Weather: weather.NewSeries(from, 242*24), Observed: seen}
	for i := range s.Weather.Hours() {
		day, hour := float64(i)/24, float64(i%24)
		s.Weather.Set(weather.TemperatureC, s.Weather.Time(i), -6+14*(1-math.Cos(2*math.Pi*(day-60)/365))-6*math.Cos(2*math.Pi*(hour-5)/24))
	}
	return s
}

// Buds that were noted in earlier springs move this spring's, and signs are learnt, the first
// of each spring; what was noted in the autumn, and twice, teaches nothing.
func TestEarlierNotesTeachBudsAndSigns(t *testing.T) {
	site := bush(t)
	day := func(kind records.ObservationKind, sign, day string) records.Observation {
		return records.Observation{Kind: kind, Sign: sign, Day: day}
	}
	taught, err := Teach(&site, []notebook.Season{
		springOfYear(&site, 2023, day(records.Sign, "Frogs", "2023-03-20"), day(records.Sign, "frogs", "2023-03-12"),
			day(records.Sign, "owls", "2022-11-20"), day(records.Buds, "", "2023-05-10"), day(records.Buds, "", "2023-05-02")),
		springOfYear(&site, 2024, day(records.Sign, "frogs", "2024-03-15"), day(records.Buds, "", "2024-05-04")),
		springOfYear(&site, 2025),
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(taught.Buds) != 2 || len(taught.Signs) != 2 || taught.Signs[0].SeenDOY != 71 || taught.Signs[1].Year != 2024 ||
		!(taught.Signs[0].WarmDOY > 0) {
		t.Fatalf("buds %v, signs %+v", taught.Buds, taught.Signs)
	}
	in := Inputs{Site: site, Now: time.Date(2026, 3, 20, 12, 0, 0, 0, site.Zone), Taught: taught}
	spring := season.Spring{Known: weather.NewDaily(time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC), 242)}
	known := springOfYear(&site, 2026)
	spring.Known = known.Weather.Days(site.Zone)
	leaves := func() *BudDates {
		turns := &turning{in: &in, here: in.Now, buds: budsOf(&in, in.Now, &spring)}
		return turns.leaves(maple.Sugar)
	}
	learnt := leaves()
	in.Taught = Taught{}
	usual := leaves()
	if learnt == nil || usual == nil || learnt.NotedSprings != 2 || learnt.P50 == usual.P50 || span(learnt) >= span(usual) {
		t.Fatalf("learnt %+v, usual %+v", learnt, usual)
	}
	in.Observed = []records.Observation{day(records.Buds, "", "2025-05-02"), day(records.Buds, "", "2026-03-19")}
	for i := range in.Observed {
		in.Observed[i].At, _ = time.ParseInLocation(time.DateOnly, in.Observed[i].Day, site.Zone)
	}
	if noted := leaves(); noted == nil || noted.Noted != "2026-03-19" || noted.P10 != noted.P90 {
		t.Errorf("noted this spring: %+v", noted)
	}
	if _, off := lastGood(&in, maple.Sugar); off.IsZero() {
		t.Error("open buds do not end good sap")
	}
	in.Observed = in.Observed[:1]
	if _, off := lastGood(&in, maple.Sugar); !off.IsZero() {
		t.Error("buds of last spring end this one's sap")
	}
}

func span(b *BudDates) time.Duration {
	from, _ := time.Parse(time.DateOnly, b.P10)
	to, _ := time.Parse(time.DateOnly, b.P90)
	return to.Sub(from)
}

// Signs of this spring are listed with what earlier ones say; one that came for the first
// time moves nothing.
func TestSignsAreTold(t *testing.T) {
	site := bush(t)
	now := time.Date(2026, 3, 20, 12, 0, 0, 0, site.Zone)
	in := Inputs{Site: site, Now: now}
	for year := 2014; year < 2026; year++ {
		late := float64(year % 5)
		in.Taught.Signs = append(in.Taught.Signs,
			season.SignYear{Sign: "frogs", Year: year, SeenDOY: 62 + 2*late, RunDOY: 60, EndDOY: 92 + 2*late, WarmDOY: 90})
	}
	for _, sign := range []string{"Frogs", "crows"} {
		in.Observed = append(in.Observed, records.Observation{Kind: records.Sign, Sign: sign, Day: "2026-03-19", At: now.AddDate(0, 0, -1)})
	}
	s := springOfYear(&site, 2026)
	var out Season
	moves := out.goBySigns(&in, now, []weather.Daily{s.Weather.Days(site.Zone)})
	if len(out.Signs) != 2 || out.Signs[0].Springs != 12 || out.Signs[0].Seen != "2026-03-19" || *out.Signs[0].BeforeEndDays != 30 ||
		out.Signs[1].Sign != "crows" || out.Signs[1].MovesEndDays != 0 || out.Signs[1].BeforeEndDays != nil {
		t.Errorf("%+v", out.Signs)
	}
	if moves == 0 || math.Abs(out.Signs[0].MovesEndDays-moves) > 0.06 {
		t.Errorf("frogs of twelve springs that agree move the end by %.1f days, told as %.1f", moves, out.Signs[0].MovesEndDays)
	}
	in.Observed = nil
	if moves := out.goBySigns(&in, now, []weather.Daily{s.Weather.Days(site.Zone)}); moves != 0 {
		t.Errorf("signs that have not come this spring move the end by %.1f days", moves)
	}
}
