package weather

import (
	"fmt"
	"math"
	"time"
)

// Ensemble is one past that is known and many futures that may come. The
// futures share one axis and begin where the past ends.
type Ensemble struct {
	Past    Series
	Futures []Series
	// Likely is the first future at the offset that is most likely: of which one speaks
	// where one course must do. Empty before Warm.
	Likely Series
	// The sun at the middle of each hour of the past and of what comes.
	PastSuns, FutureSuns []Sun
	// FromSource says whether the futures are the service's own members; if
	// not, they were made from one forecast and the errors it usually has.
	FromSource bool
	Remarks    []Remark
}

// MemberCount is how many futures are made for a service that gives only one.
const MemberCount = 51

// MaxDays is how far ahead an ensemble reaches.
const MaxDays = 16

// minFutureHours is the shortest forecast that says anything about tomorrow.
const minFutureHours = 12

// Assumptions where a service says nothing and temperature can't tell: a sky that
// lets through 0.72 of a clear one's sunshine, as measured from February to April
// 2015 on a wooded hill in Massachusetts (CC0, Baumer et al.), and a light wind, usual
// for March in the north-east (common practice).
const (
	assumedCloudPct = 75
	assumedWindMS   = 2.5
)

// Assemble joins the past and the future of a bulletin at now, an hour that
// begins at now counting as past. Short gaps are filled (FillGaps); a longer
// one in the temperature ends the future before it, and starts the past anew
// after it. Columns a service lacks are estimated where a published formula
// can, and each estimate is remarked. The seed fixes the made members.
func Assemble(b *Bulletin, place Place, now time.Time, seed uint64) (Ensemble, error) {
	believed := *b
	believed.Remarks = nil
	believed.Doubt(place, now, nil)
	b = &believed
	course := b.Course.Slice(0, b.Course.Hours())
	course.FillGaps()
	split := max(course.Index(now)+1, 0)
	first, known := course.unbroken(TemperatureC, split-1)
	if known == first { // the present hour is a gap: nothing before it counts
		first = split
	}
	_, last := course.unbroken(TemperatureC, split)
	if last-split < minFutureHours {
		return Ensemble{}, fmt.Errorf("%s: the forecast holds %d unbroken hours after %s, and at least %d are needed; ask again later or add another source",
			b.Source, max(last-split, 0), now.UTC().Format("2006-01-02 15:04 UTC"), minFutureHours)
	}
	suns := Suns(&course, place)
	clearWM2 := clearSkies(suns)
	e := Ensemble{Remarks: append(b.Remarks, course.complete(place, clearWM2)...)}
	first, last = max(first, 0), min(last, split+MaxDays*24)
	e.Past, e.PastSuns = course.Slice(first, split), suns[first:split]
	control := course.Slice(split, last)

	// The error of a forecast grows from when it was issued, not from now.
	issued := now
	if !b.IssuedAt.IsZero() && b.IssuedAt.Before(now) {
		issued = b.IssuedAt
	}
	if b.Errors != nil {
		loseMeanError(&control, b.Errors.correction(&control, b, place, issued))
	}
	if members := usableMembers(b.Members, &control); len(members) > 1 {
		e.FromSource = true
		e.Futures = dress(members, &control, clearWM2[split:], place, issued, seed)
	} else {
		e.Futures = errorMembers(&control, clearWM2[split:last], place, issued, MemberCount, seed)
		e.Remarks = append(e.Remarks, Remark{Kind: OneCourse})
	}
	e.FutureSuns = suns[split : split+e.Futures[0].Hours()]
	dz := b.ElevationM - place.ElevationM
	if !math.IsNaN(dz) && math.Abs(dz) >= 20 {
		moveToHeight(&e.Past, b.ElevationM, place.ElevationM)
		for i := range e.Futures {
			moveToHeight(&e.Futures[i], b.ElevationM, place.ElevationM)
		}
		e.Remarks = append(e.Remarks, Remark{Kind: CarriedHeight, FromM: b.ElevationM, ToM: place.ElevationM})
	}
	if e.Past.Hours() < 48 {
		e.Remarks = append(e.Remarks, Remark{Kind: LittlePast})
	}
	return e, nil
}

// usableMembers puts a service's members on the control's axis, shortened to
// the hours that all of them cover; each takes from the control what it lacks.
func usableMembers(members []Series, control *Series) []Series {
	var out []Series
	hours := control.Hours()
	for i := range members {
		own := members[i].Slice(0, members[i].Hours())
		own.FillGaps()
		own = own.Between(control.Start(), control.End())
		_, last := own.unbroken(TemperatureC, 0)
		if last < min(control.Hours(), 48) {
			continue
		}
		hours = min(hours, last)
		out = append(out, control.Overlay(&own))
	}
	for i := range out {
		out[i] = out[i].Slice(0, hours)
	}
	return out
}

// Complete estimates the columns that the stem needs and the series lacks.
func (s *Series) Complete(place Place) []Remark {
	return s.complete(place, clearSkies(Suns(s, place)))
}

// complete is Complete with the sunshine of a clear sky, by hour.
func (s *Series) complete(place Place, clearWM2 []float64) (remarks []Remark) {
	if s.Given(DewPointC) != nil || s.Given(RelativeHumidityPct) != nil {
		s.completeMoisture()
	}
	hadSun, hadCloud := s.Has(ShortwaveWM2), s.Has(CloudCoverPct)
	sun, cloud := s.Col(ShortwaveWM2), s.Col(CloudCoverPct)
	for i := range sun {
		if math.IsNaN(cloud[i]) && !math.IsNaN(sun[i]) {
			cloud[i] = cloudPctFrom(sun[i], clearWM2[i])
		}
	}
	fillLinear(cloud, 18) // a night without sun to tell the cloud by
	var usual []float64
	for i := range sun {
		if math.IsNaN(cloud[i]) {
			if usual == nil {
				usual = s.usualCloud(place)
			}
			cloud[i] = usual[i]
		}
		if math.IsNaN(sun[i]) {
			sun[i] = clearWM2[i] * throughCloud(cloud[i])
		}
	}
	switch {
	case !hadSun && hadCloud:
		remarks = append(remarks, Remark{Kind: CloudySun})
	case !hadSun:
		remarks = append(remarks, Remark{Kind: AssumedSky})
	}

	if !s.Has(WindSpeedMS) {
		remarks = append(remarks, Remark{Kind: AssumedWind})
	}
	for i, w := range s.Col(WindSpeedMS) {
		if math.IsNaN(w) {
			s.Col(WindSpeedMS)[i] = assumedWindMS
		}
	}
	return remarks
}

// completeMoisture tells the dew point from the humidity, and the other way round.
func (s *Series) completeMoisture() {
	dew, humidity := s.Col(DewPointC), s.Col(RelativeHumidityPct)
	for i, t := range s.Col(TemperatureC) {
		switch {
		case math.IsNaN(dew[i]) && !math.IsNaN(humidity[i]):
			dew[i] = DewPointFrom(t, humidity[i])
		case math.IsNaN(humidity[i]) && !math.IsNaN(dew[i]):
			humidity[i] = RelativeHumidityFrom(t, dew[i])
		}
	}
}

func moveToHeight(s *Series, fromM, toM float64) {
	temperature, dew, pressure := s.Col(TemperatureC), s.Col(DewPointC), s.Col(SurfacePressureHPa)
	for i := range temperature {
		pressure[i] = PressureAtHeight(pressure[i], temperature[i], fromM, toM)
		temperature[i] += lapseKPerM * (fromM - toM)
		dew[i] = min(dew[i]+0.002*(fromM-toM), temperature[i])
	}
}
