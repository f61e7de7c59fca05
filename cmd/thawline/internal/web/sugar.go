package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

type sugarBody struct {
	Verdict, Right, Learnt, Damp string
	Degrees, MassUnit            string
	Water, Humidity              string // as they were typed
	Facts                        string // what the script must know
	Air                          []string
	Signs                        []string
	Syrup                        []string // which to keep for sugar
	Rooms                        []string // of pot and trough
	Rule, Check                  string
	Batches                      []bookLine
	May                          bool
	Key                          string
}

// pointFacts are what the script needs: where sugar leaves the fire by the humidity.
type pointFacts struct {
	WaterC     float64   `json:"water_c"`
	FromPct    float64   `json:"from_pct"`
	StepPct    float64   `json:"step_pct"`
	RisesK     []float64 `json:"rises_k"`
	UsualK     float64   `json:"usual_k"` // where the air is not known
	DampPct    float64   `json:"damp_pct"`
	LeastC     float64   `json:"least_c"` // a thermometer in boiling water shows
	MostC      float64   `json:"most_c"`
	Fahrenheit bool      `json:"fahrenheit"`
}

const leastHumidity, humidityStep, mostHumidity = 20.0, 5.0, 90.0

// earlyDays are those after the first boil whose syrup is the light one (from memory).
const earlyDays = 14 * 24 * time.Hour

// sugar is the page at the sugar pot: where it leaves the fire, in this house and air.
func (p *Pages) sugar(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	stored, err := p.Intake.Archive.House(r.Context(), v.Site.ID, time.Time{}, v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b := &sugarBody{May: v.May("crew"), Degrees: "°C", MassUnit: "kg", Key: uuid.NewString()}
	if v.system == units.US {
		b.Degrees, b.MassUnit = "°F", "lb"
	}
	var book []records.HouseEntry
	for i := range stored {
		e := &stored[i]
		book = append(book, e.HouseEntry)
		if e.Sugar != nil {
			b.Batches = append([]bookLine{{ID: e.ID, When: v.Day(e.At), Says: intake.SayHouse(v.words, &e.HouseEntry),
				May: v.May("keeper") || e.RecordedBy == v.writer().Name}}, b.Batches...)
		}
	}
	o := p.current(r.Context(), v)
	if err := b.point(v, o, book, r, p.Now()); err != nil {
		v.Wrong = v.T("pan_wrong", "Why", err.Error())
	}
	b.around(v, o, book, p.Now())
	v.Body = b
	p.send(w, r, http.StatusOK, "sugar", v)
}

// point says where the next batch leaves the fire.
func (b *sugarBody) point(v *view, o *forecast.Outlook, book []records.HouseEntry, r *http.Request, now time.Time) error {
	water, humidity := math.NaN(), math.NaN()
	pressure := 1000.0
	if o != nil {
		pressure = pressureNow(o, now)
		for i := range o.Sugar {
			if o.Sugar[i].Date == now.In(v.Site.Zone).Format(time.DateOnly) {
				humidity = o.Sugar[i].HumidityPct
			}
		}
	}
	q := r.URL.Query()
	b.Water, b.Humidity = strings.TrimSpace(q.Get("water")), strings.TrimSpace(q.Get("humidity"))
	fault := error(nil)
	if given, err := within(b.Water, func(x float64) bool { return math.Abs(celsius(v, x)-boil.WaterBoilsC(pressure)) <= 4 }); err != nil {
		fault = err
	} else {
		water = celsius(v, given)
	}
	if given, err := within(b.Humidity, func(x float64) bool { return x >= 5 && x <= 100 }); err != nil {
		fault = err
	} else if !math.IsNaN(given) {
		humidity = given
	}
	if math.IsNaN(water) {
		water = boil.WaterBoilsC(pressure)
	}
	point, err := forecast.FinishOf(book, humidity)
	if err != nil {
		return err
	}
	fine := func(c float64) string { return v.words.Number(units.FineTemperature(c, v.system)) }
	b.Verdict = v.T("sugarpot_at", "At", fine(water+point.RiseK), "Rise", v.words.Rise(point.RiseK), "Water", fine(water))
	b.Right = v.T("sugarpot_right", "InTen", units.InTen(point.Right))
	b.Learnt = v.T("sugarpot_handbook")
	if point.Batches > 0 {
		b.Learnt = v.N("sugarpot_learnt", point.Batches)
	}
	if humidity >= boil.DampPct {
		b.Damp = v.T("sugarpot_damp")
	}
	if err := b.facts(v, book, water); err != nil {
		return err
	}
	return fault
}

// within reads a number that was typed and must be right: NaN where nothing was typed, an
// error that quotes what can't be.
func within(text string, right func(float64) bool) (float64, error) {
	if text == "" {
		return math.NaN(), nil
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
	if err != nil || !right(x) {
		return math.NaN(), fmt.Errorf("%q", text)
	}
	return x, nil
}

// facts are the finish points by humidity, for a phone without signal.
func (b *sugarBody) facts(v *view, book []records.HouseEntry, waterC float64) error {
	f := pointFacts{WaterC: waterC, FromPct: leastHumidity, StepPct: humidityStep, DampPct: boil.DampPct, LeastC: 80, MostC: 105,
		Fahrenheit: v.system == units.US}
	usual, err := forecast.FinishOf(book, math.NaN())
	if err != nil {
		return err
	}
	f.UsualK = usual.RiseK
	for pct := leastHumidity; pct <= mostHumidity; pct += humidityStep {
		at, err := forecast.FinishOf(book, pct)
		if err != nil {
			return err
		}
		f.RisesK = append(f.RisesK, math.Round(at.RiseK*1e3)/1e3)
	}
	text, err := json.Marshal(f)
	b.Facts = string(text)
	return err
}

// around is what stands beside the thermometer: the air of the coming days, the signs, the
// syrup, the room, and what sugar comes of it.
func (b *sugarBody) around(v *view, o *forecast.Outlook, book []records.HouseEntry, now time.Time) {
	if o != nil {
		for i := range o.Sugar[:min(3, len(o.Sugar))] {
			s := &o.Sugar[i]
			b.Air = append(b.Air, v.T("sugarpot_air", "Day", v.dateOf(s.Date), "Start", v.words.Clock(s.From), "End",
				v.words.Clock(s.To), "Fit", v.T("grade_"+string(s.Grade))))
		}
	}
	if len(b.Air) == 0 {
		b.Air = []string{v.T("sugar_none")}
	}
	b.Signs = []string{v.T("sugarpot_sign_thread"), v.T("sugarpot_sign_foam"), v.T("sugarpot_sign_bubbles"), v.T("sugarpot_sign_drop")}
	b.Syrup = []string{v.T("sugarpot_keep")}
	for _, e := range forecast.EarlyBoils(thisWinter(book, now, v.Site.Zone), earlyDays) {
		b.Syrup = append(b.Syrup, v.T("sugarpot_early", "Day", v.Day(e.At), "Volume", v.Volume(e.SyrupL)))
	}
	house := &v.Site.Boiling
	potL, troughL := house.SyrupInPotL(), house.TroughL
	if potL > 0 {
		b.Rooms = append(b.Rooms, v.T("sugarpot_pot", "Volume", v.Volume(potL)))
	}
	if troughL > 0 {
		b.Rooms = append(b.Rooms, v.T("sugarpot_trough", "Volume", v.Volume(troughL)))
	}
	if len(b.Rooms) == 0 {
		b.Rooms = []string{v.T("sugarpot_foam")}
	}
	fourGallons := 4 * units.LitresPerUSGallon
	kg, _ := boil.SugarFrom(fourGallons, boil.SyrupBrix)
	b.Rule = v.T("sugarpot_rule", "Syrup", v.Volume(fourGallons), "Mass", v.words.Mass(32*units.KilogramsPerPound))
	b.Check = v.T("sugarpot_check", "Mass", v.words.Mass(kg))
}

func thisWinter(book []records.HouseEntry, now time.Time, zone *time.Location) []records.HouseEntry {
	for i := range book {
		if !book[i].At.Before(season.WinterStart(now, zone)) {
			return book[i:]
		}
	}
	return nil
}

// batch is what the form says of one.
type batch struct {
	records.SugarBatch
	kg float64
}

// readBatch reads the form of a batch, in the units that the page was made for.
func readBatch(r *http.Request, v *view, system units.System) (batch, error) {
	nan := math.NaN()
	b := batch{records.SugarBatch{LeftC: nan, WaterC: nan, HumidityPct: nan, Outcome: r.PostFormValue("outcome")}, nan}
	for field, into := range map[string]*float64{"left": &b.LeftC, "water": &b.WaterC, "humidity": &b.HumidityPct, "sugar": &b.kg} {
		text := strings.TrimSpace(r.PostFormValue(field))
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil || !plainNumber.MatchString(text) {
			return b, &wrongEntry{say: v.T("house_wrong", "Why",
				v.T("house_fault_"+map[string]string{"left": "left", "water": "water", "humidity": "air", "sugar": "much_sugar"}[field]))}
		}
		switch {
		case field == "humidity":
		case field == "sugar" && system == units.US:
			x *= units.KilogramsPerPound
		case field != "sugar" && system == units.US:
			x = (x - 32) / 1.8
		}
		*into = x
	}
	return b, nil
}
