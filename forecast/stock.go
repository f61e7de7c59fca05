package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// Stock is what lies in the sugarhouse now.
type Stock struct {
	Sap     []SapBatch `json:"sap"`      // the oldest first
	SyrupL  float64    `json:"syrup_l"`  // of this winter, less what was stirred to sugar
	SugarKg float64    `json:"sugar_kg"` // of this winter
	Wood    *Wood      `json:"wood"`     // null where nobody has said
	// BoilsKnown: somebody writes down what is boiled. Where nobody does, sap counts as
	// boiled in the hours for it, as it came.
	BoilsKnown bool `json:"boils_known"`
}

// SapBatch is the sap that was carried in on one day.
type SapBatch struct {
	Batch      string    `json:"batch"` // the local date on which it was carried in
	Groups     []string  `json:"groups"`
	Litres     float64   `json:"litres"`
	Brix       float64   `json:"brix"`
	RanOn      string    `json:"ran_on"`      // local date of the oldest of it
	GatheredAt time.Time `json:"gathered_at"` // the last of it
	BoilBy     time.Time `json:"boil_by"`
	// KeepsLonger is true where it keeps beyond the known weather: BoilBy is where that ends.
	KeepsLonger bool `json:"keeps_longer"`
	Spoilt      bool `json:"spoilt"` // tip it out, do not boil it
}

// Wood is what is left of it.
type Wood struct {
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"` // "cord", 128 cubic feet stacked
}

// GoodL is the sap that may be boiled, litres.
func (s *Stock) GoodL() float64 { return s.sum(false) }

// SpoiltL is the sap that has to be tipped out, litres.
func (s *Stock) SpoiltL() float64 { return s.sum(true) }

func (s *Stock) sum(spoilt bool) float64 {
	sum := 0.0
	for i := range s.Sap {
		if s.Sap[i].Spoilt == spoilt {
			sum += s.Sap[i].Litres
		}
	}
	return sum
}

// shelf is the sap in the sugarhouse as it is followed hour by hour: batches by the day
// on which they were carried in, the oldest first.
type shelf struct {
	zone    *time.Location
	life    *lives
	batches []batch
	syrupL  float64
	sugarKg float64
	wood    float64 // cords, NaN where nobody has said
	holds   []hold  // for classes, where nobody writes down what is boiled
}

// batch is the sap of one day. Its age is that of the mixture when it was last added to.
type batch struct {
	day    string
	groups []string
	litres float64
	brixL  float64 // litres times °Brix
	ran    time.Time
	last   time.Time
	used   float64 // share of its life, at last
}

const (
	tankLag = 36 * time.Hour // a tank in the shade follows the air (common practice)
	// Unmeasured sap that was carried in before the weather is known is taken to have
	// hung for half a day (common practice).
	unknownHung = 12
	someSapL    = 0.5 // less is the film in a tank
)

// lives sums up the share of its life that sap uses, by hour, in pails and in the tank.
type lives struct {
	start      time.Time
	pail, tank []float64 // up to each hour
}

// livesOf follows pails and tank through the past and the first of the futures.
func livesOf(e *weather.Ensemble) *lives {
	airC := slices.Concat(e.Past.Col(weather.TemperatureC), e.Likely.Col(weather.TemperatureC))
	start := e.Past.Start()
	if e.Past.Hours() == 0 {
		start = e.Futures[0].Start()
	}
	l := &lives{start: start, pail: make([]float64, len(airC)+1), tank: make([]float64, len(airC)+1)}
	step, tankC := 1-math.Exp(-1/tankLag.Hours()), 0.0
	for h, c := range airC {
		if math.IsNaN(c) {
			c = 0
		}
		if h == 0 {
			tankC = max(c, rounds.ColdestC)
		}
		tankC += step * (max(c, rounds.ColdestC) - tankC)
		l.pail[h+1] = l.pail[h] + rounds.LifePerHour(c, rounds.PailHygiene)
		l.tank[h+1] = l.tank[h] + rounds.LifePerHour(tankC, rounds.TankHygiene)
	}
	return l
}

func (l *lives) hour(at time.Time) int {
	return min(max(int(at.Sub(l.start)/time.Hour), 0), len(l.tank)-1)
}

// end is where the known weather ends.
func (l *lives) end() time.Time { return l.start.Add(time.Duration(len(l.tank)-1) * time.Hour) }

// knownUntil is a moment at which sap goes bad as far as it may be told: where it lies beyond
// the known weather, the end of that, and that the sap keeps longer. Frozen sap would else be
// told a day of which no forecast says anything.
func knownUntil(bad, end time.Time) (until time.Time, longer bool) {
	if bad.After(end) {
		return end, true
	}
	return bad, false
}

// inTank is the share of its life that sap uses in the tank between two moments. Beyond
// the known weather its last day goes on.
func (l *lives) inTank(from, to time.Time) float64 {
	a, b := l.hour(from), l.hour(to)
	used := l.tank[b] - l.tank[a]
	if end := l.end(); to.After(end) {
		used += to.Sub(end).Hours() * l.later()
	}
	return used
}

// later is the share of its life that an hour takes after the known weather: not frozen.
func (l *lives) later() float64 {
	n := len(l.tank) - 1
	day := min(24, n)
	mean := 0.0
	if day > 0 {
		mean = (l.tank[n] - l.tank[n-day]) / float64(day)
	}
	return max(mean, rounds.LifePerHour(0, rounds.TankHygiene))
}

// until is when sap in the tank that had used so much of its life at a moment has gone
// bad: at the latest when it has stood unfrozen for a week, as far as the rule of its
// keeping goes.
func (l *lives) until(from time.Time, used float64) time.Time {
	left, unfrozen := 1-used, rounds.LongestHours
	if left <= 0 {
		return from
	}
	for h := l.hour(from); h < len(l.tank)-1; h++ {
		hour := l.tank[h+1] - l.tank[h]
		if hour > 0 {
			unfrozen--
		}
		if left -= hour; left <= 0 || unfrozen <= 0 {
			return l.start.Add(time.Duration(h+1) * time.Hour)
		}
	}
	end := later(l.end(), from)
	return end.Add(time.Duration(min(left/l.later(), float64(unfrozen)) * float64(time.Hour))).Truncate(time.Hour)
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// goesBad is when a batch has gone bad.
func (s *shelf) goesBad(b *batch) time.Time { return s.life.until(b.last, b.used) }

// carryIn adds sap to the batch of its day.
func (s *shelf) carryIn(at time.Time, group string, litres, brix, used float64, ran time.Time) {
	if litres <= 0 {
		return
	}
	day := at.In(s.zone).Format(time.DateOnly)
	i := slices.IndexFunc(s.batches, func(b batch) bool { return b.day == day })
	if i < 0 {
		i = len(s.batches)
		s.batches = append(s.batches, batch{day: day, ran: ran, last: at})
	}
	b := &s.batches[i]
	held := b.used + s.life.inTank(b.last, at)
	if b.litres > 0 {
		used = rounds.MixedAge([]float64{b.litres, litres}, []float64{held, used})
	}
	b.litres, b.brixL, b.used, b.last = b.litres+litres, b.brixL+litres*brix, used, at
	if ran.Before(b.ran) {
		b.ran = ran
	}
	if !slices.Contains(b.groups, group) {
		b.groups = append(b.groups, group)
	}
}

// take removes litres, the oldest first, and returns how much there was. Sap that has
// gone bad by a moment is left alone where only good sap is asked for.
func (s *shelf) take(litres float64, good bool, at time.Time) (taken, brixL float64) {
	for i := range s.batches {
		b := &s.batches[i]
		if litres-taken <= 0 {
			break
		}
		if b.litres <= 0 || good && !s.goesBad(b).After(at) {
			continue
		}
		some := min(b.litres, litres-taken)
		taken, brixL = taken+some, brixL+b.brixL*some/b.litres
		b.brixL -= b.brixL * some / b.litres
		b.litres -= some
	}
	s.batches = slices.DeleteFunc(s.batches, func(b batch) bool { return b.litres < someSapL })
	return taken, brixL
}

// good is the sap that may be boiled at a moment.
func (s *shelf) good(at time.Time) float64 {
	sum := 0.0
	for i := range s.batches {
		if s.goesBad(&s.batches[i]).After(at) {
			sum += s.batches[i].litres
		}
	}
	return sum
}

// held is the sap that a fire leaves alone at a moment.
func (s *shelf) held(at time.Time) (litres float64) {
	for _, h := range s.holds {
		if at.After(h.from) && at.Before(h.to) {
			litres += h.litres
		}
	}
	return litres
}

// spoilt is the sap that has gone bad by a moment.
func (s *shelf) spoilt(at time.Time) float64 {
	sum := 0.0
	for i := range s.batches {
		if !s.goesBad(&s.batches[i]).After(at) {
			sum += s.batches[i].litres
		}
	}
	return sum
}

// forget drops what went bad so long before a moment: somebody will have tipped it out.
func (s *shelf) forget(at time.Time, after time.Duration) {
	s.batches = slices.DeleteFunc(s.batches, func(b batch) bool { return at.Sub(s.goesBad(&b)) > after })
}

// first is when the first of the good sap goes bad; zero without any.
func (s *shelf) first(at time.Time) time.Time {
	var first time.Time
	for i := range s.batches {
		if bad := s.goesBad(&s.batches[i]); bad.After(at) && (first.IsZero() || bad.Before(first)) {
			first = bad
		}
	}
	return first
}

// clone is a shelf of its own with the same sap.
func (s *shelf) clone() *shelf {
	other := *s
	other.batches = slices.Clone(s.batches)
	return &other
}

// stockOf follows what was carried in and boiled this winter up to now.
func stockOf(in *Inputs, e *weather.Ensemble, flow []groupFlow, y *yields) (Stock, *shelf) {
	s := &shelf{zone: in.Site.Zone, life: livesOf(e), wood: math.NaN()}
	carried, fire := s.carried(in, e, flow, y), newFire(in)
	if len(in.Classes) > 0 {
		s.holds = holds(in, fire, s.life)
	}
	book := in.readBook(carried)
	asTheyCome := false // the sap that came in last counts as boiled as it came
	enter := func(before time.Time) {
		for ; book.next < len(book.entries) && book.entries[book.next].At.Before(before); book.next++ {
			one := &book.entries[book.next]
			if asTheyCome && ofSap(one) {
				fire.asTheyCome(s, one.At)
				asTheyCome = false
			}
			s.enter(one)
		}
	}
	for _, c := range carried {
		enter(c.at)
		if asTheyCome {
			fire.asTheyCome(s, c.at)
		}
		if asTheyCome = book.silent(c.at); asTheyCome {
			fire.done = later(fire.done, c.at)
		}
		s.carryIn(c.at, c.group, c.litres, c.brix, c.used, c.ran)
	}
	enter(in.Now.Add(1)) // those of this moment too
	if asTheyCome {
		fire.asTheyCome(s, in.Now)
	}
	s.forget(in.Now, rounds.LongestHours*time.Hour)
	return s.told(in.Now, !book.given), s
}

// houseBook is the sugarhouse's book, as far as it was read. An entry speaks of the sap of the week before it. Sap
// of which nobody writes within a week counts as boiled as it came, and so does all that comes after
// it until somebody writes again: who wrote down one boil was else told each evening that hundreds of
// gallons had gone bad.
type houseBook struct {
	entries []records.HouseEntry // the oldest first
	next    int
	given   bool // given up: nobody wrote of the sap that came in a week ago, nor since
}

const bookSpeaksFor = rounds.LongestHours * time.Hour

func (in *Inputs) readBook(carried []carriedSap) houseBook {
	b := houseBook{entries: in.houseEntries()}
	var last time.Time
	for i := range b.entries {
		if ofSap(&b.entries[i]) {
			last = b.entries[i].At
		}
	}
	since := slices.IndexFunc(carried, func(c carriedSap) bool { return !c.at.Before(last) })
	b.given = last.IsZero() || since >= 0 && in.Now.Sub(carried[since].at) > bookSpeaksFor
	return b
}

// ofSap reports whether an entry says what became of sap.
func ofSap(one *records.HouseEntry) bool {
	return one.Kind != records.WoodLeft && one.Kind != records.SyrupLeft && one.Kind != records.Stirred
}

// silent reports whether the book says nothing of the sap that came in at a moment.
func (b *houseBook) silent(at time.Time) bool {
	for i := b.next; i < len(b.entries); i++ {
		if one := &b.entries[i]; ofSap(one) {
			return one.At.Sub(at) > bookSpeaksFor
		}
	}
	return b.given
}

// houseEntries are the sugarhouse's entries of this winter up to now, the oldest first.
func (in *Inputs) houseEntries() []records.HouseEntry {
	winter := season.WinterStart(in.Now, in.Site.Zone)
	var own []records.HouseEntry
	for i := range in.House {
		if one := &in.House[i]; (one.Site == "" || one.Site == in.Site.ID) && !one.At.Before(winter) && !one.At.After(in.Now) {
			own = append(own, *one)
		}
	}
	records.SortHouse(own)
	return own
}

// carriedSap is one group's sap as it was carried in.
type carriedSap struct {
	at, ran      time.Time
	group        string
	litres, brix float64
	used         float64 // share of its life
}

// carried are this winter's visits that brought sap, the oldest first.
func (s *shelf) carried(in *Inputs, e *weather.Ensemble, flow []groupFlow, y *yields) []carriedSap {
	winter := season.WinterStart(in.Now, in.Site.Zone)
	var out []carriedSap
	sugar := sugarOfGroups(in)
	for g := range in.Site.Groups {
		usual, _ := sugar.brix(g)
		for i := range y.entries[g] {
			entry := &y.entries[g][i]
			if entry.At.Before(winter) || !(entry.CarriedL > 0) {
				continue
			}
			one := carriedSap{at: entry.At, group: in.Site.Groups[g].ID, litres: entry.CarriedL, brix: entry.BrixPct}
			if math.IsNaN(one.brix) {
				one.brix = usual
			}
			one.ran, one.used = s.hung(e, flow[g].past, entry)
			out = append(out, one)
		}
	}
	slices.SortStableFunc(out, func(a, b carriedSap) int { return a.at.Compare(b.at) })
	return out
}

// hung is when the oldest sap of a visit ran, and how much of its life it had used up
// in the containers.
func (s *shelf) hung(e *weather.Ensemble, flow []float64, entry *notebook.Entry) (ran time.Time, used float64) {
	from := ranFrom(flow[:min(max(entry.To, 0), len(flow))], entry.Since)
	if entry.Why == notebook.OutsideWeather || from < 0 {
		hung := time.Duration(unknownHung) * time.Hour
		return entry.At.Add(-hung), float64(unknownHung) * rounds.LifePerHour(4, rounds.PailHygiene)
	}
	return e.Past.Time(from), s.life.pail[entry.To] - s.life.pail[from]
}

// enter takes over what somebody wrote down.
func (s *shelf) enter(one *records.HouseEntry) {
	known := func(x float64) float64 {
		if math.IsNaN(x) {
			return 0
		}
		return x
	}
	switch one.Kind {
	case records.Boiled:
		taken, brixL := s.take(one.SapL, false, one.At)
		switch {
		case !math.IsNaN(one.SyrupL):
			s.syrupL += one.SyrupL
		case taken > 0 && !(one.SugarKg > 0):
			s.syrupL += one.SapL / boil.SapPerSyrup(brixL/taken, boil.SyrupBrix)
		}
		s.sugarKg += known(one.SugarKg)
		s.wood -= known(one.WoodCords)
	case records.Stirred:
		s.syrupL = max(s.syrupL-known(one.SyrupL), 0)
		s.sugarKg += known(one.SugarKg)
	case records.SapLeft:
		s.leave(one)
	case records.TippedOut:
		litres := one.SapL
		if math.IsNaN(litres) {
			litres = s.spoilt(one.At)
		}
		s.take(litres, false, one.At)
	case records.WoodLeft:
		s.wood = one.WoodCords
	case records.SyrupLeft:
		s.syrupL = one.SyrupL
	}
	if s.wood < 0 {
		s.wood = 0
	}
}

// leave brings the sap into line with what somebody saw: the oldest is gone where it is
// less, and where it is more the rest counts as carried in with the last, or now.
func (s *shelf) leave(one *records.HouseEntry) {
	sum := 0.0
	for i := range s.batches {
		sum += s.batches[i].litres
	}
	switch {
	case one.SapL < sum:
		s.take(sum-one.SapL, false, one.At)
	case sum > 0:
		for i := range s.batches {
			s.batches[i].litres *= one.SapL / sum
			s.batches[i].brixL *= one.SapL / sum
		}
	default:
		s.carryIn(one.At, "", one.SapL, boil.BrixBySeason(15), 0, one.At)
	}
}

// told is the stock as the outlook says it.
func (s *shelf) told(now time.Time, known bool) Stock {
	out := Stock{Sap: []SapBatch{}, SyrupL: round(s.syrupL, 1), SugarKg: round(s.sugarKg, 1), BoilsKnown: known}
	if !math.IsNaN(s.wood) {
		out.Wood = &Wood{round(s.wood, 2), "cord"}
	}
	for i := range s.batches {
		b := &s.batches[i]
		bad, longer := knownUntil(s.goesBad(b), s.life.end())
		groups := slices.DeleteFunc(slices.Clone(b.groups), func(id string) bool { return id == "" })
		out.Sap = append(out.Sap, SapBatch{Batch: b.day, Groups: groups, Litres: round(b.litres, 1), Brix: round(b.brixL/b.litres, 1),
			RanOn: b.ran.In(s.zone).Format(time.DateOnly), GatheredAt: b.last.In(s.zone), BoilBy: bad.In(s.zone), KeepsLonger: longer,
			Spoilt: !longer && !bad.After(now)})
	}
	return out
}
