package forecast

import (
	"cmp"
	"math"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/maple"
	"thawline/forecast/records"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Site is one sugarbush.
type Site struct {
	ID, Name      string
	Place         weather.Place
	Stations      []weather.Station // whose weather is mixed; none asks for the place's own
	Zone          *time.Location
	TreeDiameterM float64 // at breast height; 0 for UsualDiameterM
	Exposure      trunk.Exposure
	Groups        []Group
	Tanks         []Tank
	Gathering     Gathering
	Boiling       Boiling
	Shares        Shares
}

// Shares is what a bush's people have agreed to, for others than themselves. The zero
// value is nothing.
type Shares struct {
	Place  bool // where it is, more exactly than to a tenth of a degree
	Litres bool // what it gives, for others who share theirs
	Seen   bool // what its people and thermometer see of the day's air, for bushes near by that share theirs; never litres
}

// roughDeg is how exactly a place is told that is not shared: some 10 km.
const roughDeg = 0.1

// ToldPlace is where the bush is for others than its own people, in degrees: its place
// where that is shared, else rounded to a tenth of a degree.
func (s *Site) ToldPlace() (latitudeDeg, longitudeDeg float64) {
	if s.Shares.Place {
		return s.Place.LatitudeDeg, s.Place.LongitudeDeg
	}
	rough := func(deg float64) float64 { return math.Round(deg/roughDeg) / 10 }
	return rough(s.Place.LatitudeDeg), rough(s.Place.LongitudeDeg)
}

// Boiling is how sap is boiled and where sugar is stirred. The zero value stands
// for a flat pan of twelve square feet on wood, and syrup of 66 °Brix.
type Boiling struct {
	Pan       boil.Pan
	Row       boil.Row  // several pans, in the order in which sap goes through them; none means Pan alone
	FinishM2  float64   // of the pan in which syrup is finished, 0 if it is the same
	FinishM   float64   // how deep that one boils, 0 for the usual
	FinishOn  boil.Fuel // under it; "" for the pan's
	PotL      float64   // of the sugar pot to its rim, 0 if nobody has said
	TroughL   float64   // syrup that the trough takes for stirring, 0 if nobody has said
	Watches   int       // pans and pots that one person can watch at once, 0 if nobody has said
	School    []Free    // in which classes may come; Who is ""
	Hours     []Free    // in which somebody boils; none means every day from eight to eight
	SyrupBrix float64
	RoomC     float64 // where sugar is stirred; NaN outdoors
	StoreL    float64 // of the sugarhouse's tanks, 0 if nobody has said
}

// SyrupInPotL is the syrup that may go into the sugar pot: foam needs the rest; 0 if nobody
// has said how large it is.
func (b *Boiling) SyrupInPotL() float64 { return b.PotL * boil.FoamShare }

// Gathering is how and when somebody can go round.
type Gathering struct {
	// Free are the hours in which people can go, local; none means every day from
	// eight to six. Rounds are made in daylight.
	Free          []Free
	People        []PersonName // those who may go
	MinutesPerTap float64      // of one person; 0 for the usual
	TankL         float64      // that is drawn through the bush, 0 if it never fills
	TripWorthL    float64      // a trip must save that much sap; 0 for the usual
	AcceptedRisk  float64      // chance that a group may run over before its round; 0 for one in ten
	GustMS        float64      // from which nobody is sent into the bush; 0 for the usual
	ChillC        float64      // wind chill below which nobody is; 0 for the usual
	Pinned        []time.Time
	Forbidden     []Span
}

// Free is when one person can gather, or boil: a weekday and hours after its midnight.
type Free struct {
	Who      string
	Weekday  time.Weekday
	From, To time.Duration
}

// Span is a stretch of time.
type Span struct{ From, To time.Time }

// Group is taps that are alike and gathered together.
type Group struct {
	ID, Name      string
	Taps          int
	Method        volume.Method
	Species       maple.Species // "" for sugar maple
	ContainerL    float64       // at each tap, for pails and bags; else 0
	TankL         float64       // shared by the group's tubing; else 0
	VacuumKPa     float64
	TreeDiameterM float64   // of its stems at breast height; 0 for that of the site
	Tapped        time.Time // zero if nobody has said
	Pulled        time.Time // after Tapped, by the records; zero while the taps are in
	Untapped      bool      // by the records: nobody has said that its taps are in, but of others
	Before        []Span    // earlier stretches of the season in which they were in, by the records
	TankID        string    // of the site's tank that its tubing ends in; "" for pails and bags
}

// Tank is one of a site's.
type Tank struct {
	ID      string
	VolumeL float64
	Kind    TankKind
}

// TankKind is how a tank is used.
type TankKind string

// The kinds of tank: one that is drawn through the bush, and one that stands.
const (
	GatheringTank TankKind = "gathering"
	StorageTank   TankKind = "storage"
)

// ShareTanks works out what the tanks are to groups, rounds and fire. Groups whose
// tubing ends in one tank have its volume in proportion to their taps; of the others
// those that are drawn through the bush are what a trip can carry, and those that
// stand are the sugarhouse's.
func (s *Site) ShareTanks() {
	taps := map[string]int{}
	for _, g := range s.Groups {
		taps[g.TankID] += g.Taps
	}
	s.Gathering.TankL, s.Boiling.StoreL = 0, 0
	for _, t := range s.Tanks {
		switch {
		case taps[t.ID] > 0:
			for i := range s.Groups {
				if g := &s.Groups[i]; g.TankID == t.ID {
					g.TankL = t.VolumeL * float64(g.Taps) / float64(taps[t.ID])
				}
			}
		case t.Kind == GatheringTank:
			s.Gathering.TankL += t.VolumeL
		case t.Kind == StorageTank:
			s.Boiling.StoreL += t.VolumeL
		}
	}
}

// UsualDiameterM stands for trees whose size nobody has said.
const UsualDiameterM = volume.UsualStemM

// stemM is how wide the stems of a group are at breast height, metres.
func (s *Site) stemM(group int) float64 {
	return cmp.Or(s.Groups[group].TreeDiameterM, s.TreeDiameterM, UsualDiameterM)
}

// CapacityL is what the group's containers hold together, with its part of a tank that
// it shares; 0 if that is not known.
func (g *Group) CapacityL() float64 { return g.ContainerL*float64(g.Taps) + g.TankL }

// Capacity is what can be carried away from a group at one visit: its containers, and
// the whole of the tank that its tubing ends in, however many share it. A group that
// the site does not have holds what nobody knows.
func (s *Site) Capacity(group string) records.Capacity {
	for i := range s.Groups {
		g := &s.Groups[i]
		if g.ID != group {
			continue
		}
		c := records.Capacity{Taps: g.Taps, VolumeL: g.ContainerL * float64(g.Taps)}
		for _, t := range s.Tanks {
			if t.ID == g.TankID {
				c.VolumeL += t.VolumeL
			}
		}
		if g.TankID == "" {
			c.VolumeL += g.TankL
		}
		return c
	}
	return records.Capacity{}
}

// Taps is how many taps the site has.
func (s *Site) Taps() int {
	n := 0
	for _, g := range s.Groups {
		n += g.Taps
	}
	return n
}

func bushOf(site *Site) Bush {
	b := Bush{Name: site.Name, Zone: site.Zone.String(), Taps: site.Taps(), People: append([]PersonName{}, site.Gathering.People...)}
	for i := range site.Groups {
		g := &site.Groups[i]
		b.Groups = append(b.Groups, GroupName{g.ID, g.Name, g.Taps, g.CapacityL(), !g.Pulled.IsZero(), g.Untapped})
	}
	return b
}
