package alerts

import (
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// ClassTexts is a season's messages about its visits, beside what they were made from.
type ClassTexts struct {
	Season   string
	Visits   []records.ClassVisit
	Told     []Decision
	At       []time.Time
	Outlooks []*forecast.Outlook
}

// wantsAllSchoolSeasons asks for all eight seasons; else the visit of one that lies in a storm.
const wantsAllSchoolSeasons = "THAWLINE_SCHOOL"

// SchoolSeasons replays two booked weekday visits a season: on the hill from 2013 to 2015, in
// Wisconsin from 2009 to 2020. One of them lies in a storm that is warned of.
func SchoolSeasons(t *testing.T) (out []ClassTexts) {
	all := os.Getenv(wantsAllSchoolSeasons) != ""
	east, central := zoneOf(t, "America/New_York"), zoneOf(t, "America/Chicago")
	list := []*springtime{spring(t, "hill 2014", daysAsHours(t, "data/forest-station-2012-2014-daily.csv", 0.58, hillPlace, 2014),
		hillPlace, time.Date(2014, 2, 19, 8, 0, 0, 0, east), 55)}
	if all {
		list = append(list, spring(t, "hill 2013", daysAsHours(t, "data/forest-station-2012-2014-daily.csv", 0.58, hillPlace, 2013),
			hillPlace, time.Date(2013, 2, 22, 8, 0, 0, 0, east), 52), namedSeasons(t)[2])
		for _, year := range []int{2009, 2012, 2015, 2018, 2020} {
			list = append(list, spring(t, "Wisconsin "+strconv.Itoa(year),
				daysAsHours(t, "data/madison-daily-1990-2020.csv", 0, dairyPlace, year), dairyPlace,
				time.Date(year, 2, 28, 8, 0, 0, 0, central), 45))
		}
	}
	for i, s := range list {
		tapped := s.site.Groups[0].Tapped
		s.classes = []records.ClassVisit{classIn(tapped, 36, "second"), classIn(tapped, 24, "first")}
		if s.name == "hill 2014" {
			c := &s.classes[0]
			s.storm = weather.Warning{ID: "storm", Thread: "storm", Event: weather.Quoted{"en": "Winter Storm Warning"},
				Issuer: weather.Quoted{"en": "NWS"}, Severity: weather.Severe, Sent: c.Start().Add(-20 * time.Hour),
				From: c.Start().Add(-3 * time.Hour), To: c.End().Add(6 * time.Hour)}
		}
		if !all {
			s.classes = s.classes[:1]
		}
		out = append(out, s.schoolTexts(t, uint64(i+1), all))
	}
	return out
}

func classIn(from time.Time, days int, id string) records.ClassVisit {
	at := from.AddDate(0, 0, days)
	for at.Weekday() == time.Saturday || at.Weekday() == time.Sunday {
		at = at.AddDate(0, 0, 1)
	}
	y, m, d := at.Date()
	return records.ClassVisit{ID: id, Day: time.Date(y, m, d, 0, 0, 0, 0, from.Location()), From: 9*time.Hour + 30*time.Minute,
		To: 12 * time.Hour, Learners: 20}
}

// schoolTexts looks each evening of the eight days before a visit, on its eve and its morning
// more often, and after it.
func (s *springtime) schoolTexts(t *testing.T, seed uint64, all bool) ClassTexts {
	out := ClassTexts{Season: s.name, Visits: s.classes}
	var said notes
	for k := range s.classes {
		c := &s.classes[k]
		midnight := c.Start().In(s.site.Zone).Truncate(time.Minute).Add(-c.From)
		moments := []float64{-7*24 + 18.5, -3*24 + 18.5, -24 + 18.5, 6, 13}
		if all {
			moments = []float64{-8*24 + 18.5, -7*24 + 18.5, -6*24 + 18.5, -5*24 + 18.5, -4*24 + 18.5, -3*24 + 18.5, -2*24 + 18.5,
				-24 + 12, -24 + 18.5, -24 + 19.5, 6, 8, 10, 13, 18.5}
		}
		for _, hours := range moments {
			now := midnight.Add(time.Duration(hours * float64(time.Hour)))
			o := s.outlook(t, now, seed)
			got, err := Decide(o, &said, Moment{Now: now, Evening: now.Minute() == 30}, Usual)
			if err != nil {
				t.Fatal(err)
			}
			got = slices.DeleteFunc(got, func(d Decision) bool { return !d.Kind.OfClass() })
			before := len(said.list)
			said.add(got, now)
			for i := before; i < len(said.list); i++ {
				out.Told, out.At, out.Outlooks = append(out.Told, said.list[i]), append(out.At, now), append(out.Outlooks, o)
			}
		}
	}
	return out
}
