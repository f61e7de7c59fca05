package weather

import "time"

// Remark is one thing that was missing, estimated or done about the weather of a
// place. Its kind is what it says; catalogues hold the sentence in each language.
type Remark struct {
	Kind  RemarkKind `json:"kind"`
	Name  string     `json:"name,omitempty"`   // of a service, a place or a file
	Why   string     `json:"why,omitempty"`    // what a service or a reader said, in English
	Hours int        `json:"hours,omitempty"`  // that are missing
	Of    int        `json:"of,omitempty"`     // hours in all, or days
	FromM float64    `json:"from_m,omitempty"` // height of the service's numbers
	ToM   float64    `json:"to_m,omitempty"`   // height of the bush
	ByK   float64    `json:"by_k,omitempty"`   // how far too high
	Since time.Time  `json:"since,omitzero"`   // when it was first said
}

// RemarkKind names a remark in catalogues, as remark_ and the kind.
type RemarkKind string

// The kinds of remark.
const (
	CloudySun       RemarkKind = "cloudy_sun"        // sunshine estimated from cloud
	AssumedSky      RemarkKind = "assumed_sky"       // neither sunshine nor cloud
	AssumedWind     RemarkKind = "assumed_wind"      // no wind
	OneCourse       RemarkKind = "one_course"        // a forecast without members
	CarriedHeight   RemarkKind = "carried_height"    // FromM, ToM
	LittlePast      RemarkKind = "little_past"       // hardly any past weather
	NoPast          RemarkKind = "no_past"           // Why
	PastFrom        RemarkKind = "past_from"         // Name
	NoObservations  RemarkKind = "no_observations"   // Why
	NoEnsemble      RemarkKind = "no_ensemble"       // Why
	EndingSoon      RemarkKind = "ending_soon"       // Name: this version of a service
	CityPage        RemarkKind = "city_page"         // Name
	Repeats         RemarkKind = "repeats"           // Since
	NonCommercial   RemarkKind = "non_commercial"    // Name
	Replayed        RemarkKind = "replayed"          // Name: a file
	HoursMissing    RemarkKind = "hours_missing"     // Name, Hours, Of
	MembersDoubted  RemarkKind = "members_doubted"   // ByK: left out
	MembersAbsurd   RemarkKind = "members_absurd"    // left out too
	PastDoubted     RemarkKind = "past_doubted"      // ByK: left out
	ColumnsNotKnown RemarkKind = "columns_not_known" // Name, Why: the columns
	MixedFrom       RemarkKind = "mixed_from"        // Name: the stations
	StationMissed   RemarkKind = "station_missed"    // Name, Of: days, ByK: how far its lows and highs missed
	StationLeftOut  RemarkKind = "station_left_out"  // the same of one that missed too far
)

// RemarkKinds are all kinds, for those who hold catalogues against them.
func RemarkKinds() []RemarkKind {
	return []RemarkKind{CloudySun, AssumedSky, AssumedWind, OneCourse, CarriedHeight, LittlePast, NoPast, PastFrom, NoObservations,
		NoEnsemble, EndingSoon, CityPage, Repeats, NonCommercial, Replayed, HoursMissing, MembersDoubted, MembersAbsurd, PastDoubted,
		ColumnsNotKnown, MixedFrom, StationMissed, StationLeftOut}
}
