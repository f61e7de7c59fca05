package weather

import "time"

// Bulletin is what one service said about one place.
type Bulletin struct {
	Source    string    // the service's name in settings, such as "nws"
	IssuedAt  time.Time // when the service made the forecast, UTC
	FetchedAt time.Time // when we received it, UTC

	// Course is one hourly course: hours before IssuedAt (or before the
	// request, where the service says so) are observed or analysed, later ones
	// forecast.
	Course Series
	// Members are alternative futures, each on its own axis; empty where the
	// service has none.
	Members []Series

	// Earlier are courses that the service gave before, newest first.
	Earlier []Told
	// Errors is how the service's lows and highs err, nil where that is not known.
	Errors *CourseErrors

	ZoneName   string  // IANA zone that the service reports, "" if it reports none
	ElevationM float64 // height that the service's numbers are for, NaN if unknown

	Credits []Credit
	Remarks []Remark // what was missing or estimated
}

// Credit is the attribution that a licence asks for, next to every display of
// the data.
type Credit struct {
	Text    string `json:"text"`
	Link    string `json:"link,omitempty"`
	Licence string `json:"licence,omitempty"`
}
