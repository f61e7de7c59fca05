package sections

import (
	"fmt"
	"io"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// rounds tells the plan of rounds, the first few of them, and what is short.
func (p *page) rounds(o *forecast.Outlook, most int) {
	w := &o.Work
	switch {
	case o.Season.Closed != nil:
		p.head(Rounds, p.say("rounds_closed", nil))
	case w.Untapped:
		p.head(Rounds, p.say("rounds_untapped", nil))
	case len(w.Rounds) == 0:
		p.head(Rounds, p.say("rounds_none", nil))
	default:
		loss, unit := p.w.RoughVolume(w.LossL)
		without, _ := p.w.RoughVolume(w.Without)
		trips := 0
		for i := range w.Rounds {
			trips += w.Rounds[i].Trips
		}
		key := "report_rounds"
		if loss == "0" {
			key = "report_rounds_save_all"
		}
		p.head(Rounds, p.say(key,
			map[string]any{"Rounds": p.w.Plural("rounds_number", len(w.Rounds)), "Trips": p.w.Plural("trips", trips), "Loss": loss,
				"Without": without, "Unit": unit}))
	}
	for i := range w.Rounds[:min(most, len(w.Rounds))] {
		p.item(p.round(o, &w.Rounds[i]))
	}
	if more := len(w.Rounds) - most; more > 0 {
		p.item(p.w.Plural("rounds_more", more))
	}
	for _, line := range append(p.off(o), p.short(o)...) {
		p.item(line)
	}
}

// short tells what is short, by day.
func (p *page) short(o *forecast.Outlook) (lines []string) {
	for _, s := range o.Work.ShortOf {
		need, unit := p.w.RoughVolume(s.NeededL)
		can, _ := p.w.RoughVolume(s.PossibleL)
		if can == need { // as coarsely as it is known nothing is short
			continue
		}
		lines = append(lines, p.say("short_of_"+s.What,
			map[string]any{"Date": p.weekdayOf(s.On), "Needed": need, "Possible": can, "Unit": unit}))
	}
	return lines
}

// weekdayOf is a local date with its weekday.
func (p *page) weekdayOf(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return p.w.Weekday(t) + " " + p.w.Date(t)
}

// off tells which rounds people said they make can't be any more.
func (p *page) off(o *forecast.Outlook) (lines []string) {
	for _, r := range o.Work.Off {
		var groups []string
		for _, g := range r.Groups {
			groups = append(groups, p.w.GroupName(&o.Bush, g))
		}
		name := o.Bush.PersonName(r.Who)
		if r.Who == "" {
			name = p.say("attend_anybody", nil)
		}
		lines = append(lines, p.say("rounds_off_"+r.Why,
			map[string]any{"Name": name, "Groups": p.w.Joined(groups), "Day": p.w.ShortWeekday(r.Start), "Time": p.w.Time(r.Start)}))
	}
	return lines
}

// ShortOf is what is short, by day, in words.
func ShortOf(o *forecast.Outlook, w *message.Words, system units.System) []string {
	return newPage(w, system).short(o)
}

// OffRounds are the rounds in words that people said they make and that can't be any more.
func OffRounds(o *forecast.Outlook, w *message.Words) []string { return newPage(w, "").off(o) }

// round tells who goes when to which groups.
func (p *page) round(o *forecast.Outlook, r *forecast.CrewRound) string {
	var groups, names []string
	for _, g := range r.Groups {
		if g.TipOut {
			groups = append(groups, p.say("rounds_group_tip_out", map[string]any{"Group": p.w.GroupName(&o.Bush, g.Group)}))
			continue
		}
		n, unit := p.w.WorkVolume(g.VolumeL)
		groups = append(groups, p.say("rounds_group", map[string]any{"Group": p.w.GroupName(&o.Bush, g.Group), "Volume": n, "Unit": unit}))
	}
	for _, id := range r.Who {
		names = append(names, o.Bush.PersonName(id))
	}
	who := ""
	if len(names) > 0 {
		who = p.say("rounds_who", map[string]any{"Names": strings.Join(names, ", ")})
	}
	return p.say("rounds_one", map[string]any{"Day": p.w.ShortWeekday(r.Start), "Date": p.w.Date(r.Start), "Time": p.w.Clock(r.Start),
		"End":    p.until(r.Start, r.End),
		"Groups": strings.Join(groups, ", "), "Trips": p.w.Plural("trips", r.Trips), "Who": who})
}

// stock tells what lies in the sugarhouse.
func (p *page) stock(o *forecast.Outlook) {
	s := &o.Stock
	p.head(InStock, p.say("stock_title", nil))
	for i := range s.Sap {
		b := &s.Sap[i]
		n, unit := p.w.Volume(b.Litres)
		values := map[string]any{"Volume": n, "Unit": unit, "Day": p.w.Weekday(b.GatheredAt), "Date": p.w.Date(b.GatheredAt)}
		if b.Spoilt {
			p.item(p.say("stock_spoilt", values))
			continue
		}
		var names []string
		for _, id := range b.Groups {
			names = append(names, p.w.GroupName(&o.Bush, id))
		}
		if values["Groups"] = ""; len(names) > 0 {
			values["Groups"] = p.say("stock_groups", map[string]any{"Groups": strings.Join(names, ", ")})
		}
		values["Ran"], values["Keeps"] = p.date(b.RanOn), p.keeps(b.BoilBy, b.KeepsLonger)
		p.item(p.say("stock_sap", values))
	}
	if len(s.Sap) == 0 {
		p.item(p.say("stock_none", nil))
	}
	if s.SyrupL > 0 {
		n, unit := p.w.Volume(s.SyrupL)
		p.item(p.say("stock_syrup", map[string]any{"Volume": n, "Unit": unit}))
	}
	if s.SugarKg > 0 {
		p.item(p.say("stock_sugar", map[string]any{"Mass": p.mass(s.SugarKg)}))
	}
	if s.Wood != nil {
		p.item(p.wood(s.Wood.Amount) + ".")
	}
	if !s.BoilsKnown && s.SyrupL > 0 {
		n, unit := p.w.Volume(225)
		p.item(p.say("stock_assumed", map[string]any{"Volume": n, "Unit": unit}))
	}
}

// deadline is a day and an hour.
func (p *page) deadline(at time.Time) string {
	day := p.w.Deadline(at)
	return p.w.Weekday(day) + " " + p.w.Date(day) + " " + p.w.Clock(at)
}

// keeps is until when sap keeps: no farther than the forecast reaches.
func (p *page) keeps(until time.Time, longer bool) string {
	if longer {
		last := until.Add(-time.Minute) // what ends at midnight is the day before
		return p.say("keeps_longer", map[string]any{"Day": p.w.Weekday(last), "Date": p.w.Date(last)})
	}
	return p.say("keeps_until", map[string]any{"At": p.deadline(until)})
}

// fire tells what there is to boil, for the first days of the plan, and which
// days are fit for sugar and for learners.
func (p *page) fire(o *forecast.Outlook, most int) {
	p.head(Fire, p.say("report_fire", nil))
	if p.fires(o, most, true) == 0 {
		p.item(p.say("fire_none", nil))
	}
	best := -1
	for i, s := range o.Sugar {
		if best < 0 || s.HumidityPct < o.Sugar[best].HumidityPct {
			best = i
		}
	}
	if best >= 0 {
		s := o.Sugar[best]
		p.item(p.say("report_sugar", map[string]any{"Day": p.w.Weekday(s.From), "Date": p.w.Date(s.From), "Start": p.w.Clock(s.From),
			"End":   p.w.Clock(s.To),
			"InTen": units.InTen(s.Chance), "Humidity": fmt.Sprintf("%.0f", s.HumidityPct), "Grade": p.say("grade_"+string(s.Grade), nil)}))
	}
	if len(o.Teaching) > 0 && o.Teaching[0].Score >= fitForLearners {
		if t, err := time.Parse(time.DateOnly, o.Teaching[0].Date); err == nil {
			p.item(p.say("report_teaching", map[string]any{"Day": p.w.Weekday(t), "Date": p.w.Date(t), "Score": o.Teaching[0].Score}))
		}
	}
}

// fires tells what is boiled on the first days of the plan, unless that stands elsewhere,
// and what there is to mind about it. It returns how many days have a fire.
func (p *page) fires(o *forecast.Outlook, most int, batches bool) (told int) {
	assumed, waits, bad := false, false, 0.0
	for i := range o.Boil {
		b := &o.Boil[i]
		values := map[string]any{}
		if at, err := time.Parse(time.DateOnly, b.Date); err == nil {
			values["Day"], values["Date"] = p.w.Weekday(at), p.w.Date(at)
		}
		values["Left"], values["Unit"] = p.w.WorkVolume(b.LeftL)
		if b.KeepsUntil != nil {
			values["Keeps"] = p.keeps(*b.KeepsUntil, b.KeepsLonger)
		}
		switch {
		case told == most:
		case b.Batch != nil:
			told, assumed, waits = told+1, assumed || !b.HoursGiven, false
			if batches {
				p.item(p.batch(b))
			}
			if b.TooLittle {
				p.item(p.say("fire_little", values))
			}
		case b.TooLittle && !waits:
			waits = true
			p.item(p.say("fire_keep", values))
		}
		if b.SpoiltL > bad+1 {
			values["Volume"], values["Unit"] = p.w.Volume(b.SpoiltL - bad)
			p.item(p.say("fire_tip_out", values))
		}
		bad = b.SpoiltL
	}
	for _, b := range o.Boil {
		if b.NoRoomForL > 0 {
			n, unit := p.w.Volume(b.NoRoomForL)
			p.item(p.say("fire_no_room", map[string]any{"Date": p.date(b.Date), "Volume": n, "Unit": unit}))
			break
		}
	}
	if told > 0 {
		p.item(p.say("fire_warm", nil))
		if o.House.HoldBackL > 0 {
			n, unit := p.w.Volume(o.House.HoldBackL)
			p.item(p.say("row_hold_back", map[string]any{"Volume": n, "Unit": unit}))
		}
		if o.House.Watchers > 1 {
			p.item(p.w.PluralWith("row_watchers", o.House.Watchers, map[string]any{"Pans": len(o.House.Pans)}))
		}
	}
	if assumed {
		p.item(p.say("fire_hours", nil))
	}
	return told
}

// FireAnswer says in one line when the next fire is, and in another what it boils, "" for
// nothing.
func FireAnswer(o *forecast.Outlook, w *message.Words, system units.System) (title, under string) {
	p := newPage(w, system)
	for i := range o.Boil {
		if b := &o.Boil[i]; b.Batch != nil {
			return p.say("fire_next", p.batchValues(b)), p.say("fire_batch", p.batchValues(b))
		}
	}
	return p.say("fire_none", nil), ""
}

// FireNotes are what there is to mind about the fires beside what they boil.
func FireNotes(o *forecast.Outlook, w *message.Words, system units.System) []Line {
	p := newPage(w, system)
	p.fires(o, len(o.Boil), false)
	return p.last().Lines
}

func (p *page) batch(b *forecast.BoilDay) string { return p.say("fire_day", p.batchValues(b)) }

func (p *page) batchValues(b *forecast.BoilDay) map[string]any {
	sap, unit := p.w.WorkVolume(b.SapL)
	syrup, syrupUnit := p.w.Volume(b.SyrupL)
	fuel := p.wood(b.Batch.WoodCords)
	if b.Batch.GasL > 0 {
		n, u := p.w.Volume(b.Batch.GasL)
		gas := p.say("fire_gas", map[string]any{"N": n, "Unit": u})
		if b.Batch.WoodCords > 0 {
			gas = fuel + ", " + gas
		}
		fuel = gas
	}
	values := map[string]any{"Day": p.w.Weekday(*b.Start), "Date": p.w.Date(*b.Start), "Sap": sap, "Unit": unit,
		"Brix": p.decimals(b.Brix, 1), "Syrup": syrup, "SyrupUnit": syrupUnit, "Fuel": fuel,
		"Start": p.w.Clock(*b.Start), "End": p.until(*b.Start, *b.End), "By": "", "Left": ""}
	if b.BoilBy != nil {
		values["By"] = p.say("fire_by", map[string]any{"By": p.deadline(*b.BoilBy)})
	}
	if b.LeftL >= 1 && b.KeepsUntil != nil {
		n, u := p.w.WorkVolume(b.LeftL)
		values["Left"] = p.say("fire_left", map[string]any{"Left": n, "Unit": u, "Keeps": p.keeps(*b.KeepsUntil, b.KeepsLonger)})
	}
	return values
}

func (p *page) wood(cords float64) string {
	return p.w.PluralWith("fire_wood", int(cords), map[string]any{"Amount": p.decimals(cords, 2)})
}

// until names the day too where it is another one; the midnight after a day is its
// own.
func (p *page) until(start, end time.Time) string {
	last := p.w.Deadline(end)
	if start.YearDay() == last.YearDay() {
		return p.w.Clock(end)
	}
	return p.w.Weekday(last) + " " + p.w.Clock(last)
}

func newPage(w *message.Words, system units.System) *page { return &page{w: w, system: system} }

// OfRounds is the whole plan of rounds, and the cautions of the bush.
func OfRounds(o *forecast.Outlook, w *message.Words, system units.System) []Section {
	p := newPage(w, system)
	p.danger(o)
	p.rounds(o, len(o.Work.Rounds))
	p.roundCautions(o)
	return p.sections
}

// PrintRounds prints the plan of rounds alone.
func PrintRounds(out io.Writer, o *forecast.Outlook, w *message.Words, system units.System) error {
	return write(out, OfRounds(o, w, system))
}

// OfBoiling is what lies in the sugarhouse, all that there is to boil, and the caution of the pan.
func OfBoiling(o *forecast.Outlook, w *message.Words, system units.System) []Section {
	p := newPage(w, system)
	p.stock(o)
	p.fire(o, len(o.Boil))
	p.cautions(o, atThePan)
	return p.sections
}

// PrintFire prints what there is to boil.
func PrintFire(out io.Writer, o *forecast.Outlook, w *message.Words, system units.System) error {
	return write(out, OfBoiling(o, w, system))
}

// PrintSeason prints where in the season the site stands.
func PrintSeason(out io.Writer, o *forecast.Outlook, w *message.Words, system units.System) error {
	return write(out, OfSeason(o, w, system))
}

// fitForLearners is the score, of a hundred, below which no day is worth telling.
const fitForLearners = 50

// mass is kilograms, or pounds for those who read US units.
func (p *page) mass(kg float64) string {
	if p.system == units.US {
		return p.decimals(kg/units.KilogramsPerPound, 1) + "\u00a0lb"
	}
	return p.decimals(kg, 1) + "\u00a0kg"
}

// PrintBatch prints one batch that was asked for without a site.
func PrintBatch(out io.Writer, b *boil.Batch, w *message.Words, system units.System) error {
	p := newPage(w, system)
	volume := func(l float64) string { n, u := w.Volume(l); return n + " " + u }
	p.plain(p.say("batch_syrup", map[string]any{"Sap": volume(b.SapL), "Brix": p.decimals(b.Brix, 1), "Syrup": volume(b.SyrupL),
		"Mass": p.mass(b.SyrupKg), "Per": p.decimals(b.SapPerSyrup, 1)}))
	fuel := p.wood(b.WoodCords)
	if b.GasL > 0 {
		fuel = p.say("fire_gas", map[string]any{"N": strings.Fields(volume(b.GasL))[0],
			"Unit": strings.Join(strings.Fields(volume(b.GasL))[1:], " ")})
	}
	p.plain(p.say("batch_water", map[string]any{"Water": volume(b.WaterToBoilL), "Hours": p.decimals(b.Hours, 1), "Fuel": fuel}))
	p.plain(p.say("batch_points", map[string]any{"Water": p.fine(b.BoilingC), "DrawOff": p.fine(b.DrawOffC),
		"Sugar": p.fine(b.SugarStageC)}))
	p.plain(p.say("batch_sugar", map[string]any{"Mass": p.mass(b.SugarKg), "Volume": volume(b.SugarL)}))
	if b.TooLittle {
		p.plain(p.say("batch_too_little", nil))
	}
	p.plain(p.say("caution_hot_pan", nil))
	return write(out, p.sections)
}
