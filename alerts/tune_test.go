package alerts

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// What a kind says and how it comes true. said counts the chances, in tenths, that
// outlooks said on 192 made forecasts for the spring of 2015 (192 of each of four
// containers for overflow; weather CC0, Baumer et al., forecasts that err as forecasts
// do). Of one bush the logit of the true chance is offset + slope × logit(said), fitted on
// the same for 300 bushes whose yields are drawn from the prior: the offset's mean and
// spread over bushes.
type world struct {
	said                [10]float64
	mean, spread, slope float64
}

var (
	saidOverflow = [10]float64{458, 87, 53, 34, 38, 28, 27, 15, 27, 1}
	saidRuns     = [10]float64{84, 7, 6, 5, 3, 11, 9, 13, 18, 36}
	// Without records, yields stray by 0.4 in the logarithm; with a few visits by 0.2.
	overflowByHandbook = world{saidOverflow, -0.35, 1.70, 1.30}
	overflowByRecords  = world{saidOverflow, -0.16, 0.81, 1.29}
	runsByHandbook     = world{saidRuns, -0.01, 0.74, 1.00}
	overflowAsSaid     = world{saidOverflow, 0, 0, 1} // every bush is as it is said to be
	runsAsSaid         = world{saidRuns, 0, 0, 1}
)

func (w *world) draw(rng *rand.Rand) float64 {
	sum := 0.0
	for _, n := range w.said {
		sum += n
	}
	at := rng.Float64() * sum
	for i, n := range w.said {
		if at < n {
			return (float64(i) + at/n) / 10
		}
		at -= n
	}
	return 0.95
}

// keeping is what invented keepers live through: shares of events that they were warned
// of, and false alerts, before and after their answers. falseEqual is what the threshold
// of before would cost if it were moved, for all alike, until it had the hits of after;
// falseKnown is what would be left at the hits of before if each bush were known exactly.
type keeping struct {
	hitsBefore, hitsAfter, falseBefore, falseAfter, falseEqual, falseKnown float64
}

func (k *keeping) fall() float64        { return 1 - k.falseAfter/k.falseBefore }
func (k *keeping) fallAtEqual() float64 { return 1 - k.falseAfter/k.falseEqual }
func (k *keeping) ceiling() float64     { return 1 - k.falseKnown/k.falseBefore }

// chance is one opportunity: what is said and what is true.
type chance struct{ said, truth float64 }

// falseFor counts the false alerts of warning of the first of some chances until there
// are so many hits.
func falseFor(hits float64, chances []chance) (wrong float64) {
	for i := 0; hits > 0 && i < len(chances); i++ {
		hits -= chances[i].truth
		wrong += 1 - chances[i].truth
	}
	return wrong
}

// live lets keepers answer three questions in ten, a tenth of them wrong, until each has
// answered so many. A warning comes where the chance passes the threshold of the moment;
// hits and false alerts are expected ones of as many chances again.
func live(w *world, kind Kind, answers, keepers int) *keeping {
	const answering, wrong, chances = 0.3, 0.1, 500
	now := time.Date(2026, 4, 1, 8, 0, 0, 0, time.UTC)
	k := &keeping{}
	events := 0.0
	var all []chance
	bound := func(t Thresholds) float64 {
		if kind == Overflow {
			return t.OverflowProbability
		}
		return t.RunProbability
	}
	for one := range keepers {
		rng := rand.New(rand.NewPCG(uint64(one), 17))
		offset := w.mean + w.spread*rng.NormFloat64()
		truth := func(said float64) float64 { return logistic(offset + w.slope*logit(said)) }
		t := Usual
		var given []Verdict
		for tries := 0; len(given) < answers && tries < 20000; tries++ {
			said := w.draw(rng)
			if said < bound(t) || rng.Float64() > answering {
				continue
			}
			v := Verdict{Kind: kind, Chance: said, Answer: No, AnsweredAt: now}
			if (rng.Float64() < truth(said)) != (rng.Float64() < wrong) {
				v.Answer = Yes
			}
			given = append(given, v)
			t = Usual.Tuned(given, now)
		}
		for range chances {
			said := w.draw(rng)
			p := truth(said)
			events += p
			all = append(all, chance{said, p})
			if said >= bound(Usual) {
				k.hitsBefore += p
				k.falseBefore += 1 - p
			}
			if said >= bound(t) {
				k.hitsAfter += p
				k.falseAfter += 1 - p
			}
		}
	}
	slices.SortFunc(all, func(a, b chance) int { return cmp.Compare(b.said, a.said) })
	k.falseEqual = falseFor(k.hitsAfter, all)
	slices.SortFunc(all, func(a, b chance) int { return cmp.Compare(b.truth, a.truth) })
	k.falseKnown = falseFor(k.hitsBefore, all)
	k.hitsBefore /= events
	k.hitsAfter /= events
	return k
}

// Invented keepers whose bushes differ as bushes do: after thirty answers false alerts
// of overflow fall by three in ten and more, and hits do not fall. What is not reached is
// here too: runs, and bushes that are well known, have less to gain even if they were known
// exactly.
func TestAnswersTakeFalseAlertsAway(t *testing.T) {
	for _, c := range []struct {
		name string
		world
		kind    Kind
		atOnce  float64 // by which false alerts fall, at least, while hits rise
		least   float64 // and against a threshold of as many hits
		hitLoss float64 // at most
	}{
		{"overflow, yields by handbook", overflowByHandbook, Overflow, 0.30, 0.40, 0},
		{"overflow, after a few visits", overflowByRecords, Overflow, 0.05, 0.10, 0},
		{"overflow, every bush as said", overflowAsSaid, Overflow, -0.10, -0.10, 0.01},
		{"runs, yields by handbook", runsByHandbook, Evening, 0, 0.01, 0.01},
		{"runs, every bush as said", runsAsSaid, Evening, -0.05, -0.05, 0.01},
	} {
		k := live(&c.world, c.kind, 30, 200)
		t.Logf("%-29s hits %.3f → %.3f, false alerts %+.0f %%, at equal hits %+.0f %% (%+.0f %% if each bush were known exactly)",
			c.name, k.hitsBefore, k.hitsAfter, -100*k.fall(), -100*k.fallAtEqual(), -100*k.ceiling())
		if k.fall() < c.atOnce || k.fallAtEqual() < c.least {
			t.Errorf("%s: false alerts fall by %.1f %%, at equal hits by %.1f %%; want %.0f and %.0f %%", c.name, 100*k.fall(),
				100*k.fallAtEqual(), 100*c.atOnce, 100*c.least)
		}
		if k.hitsAfter < k.hitsBefore-c.hitLoss {
			t.Errorf("%s: hits fall from %.3f to %.3f", c.name, k.hitsBefore, k.hitsAfter)
		}
	}
}

func onOverflow(chance float64, yes, no int) (out []Verdict) {
	for i := range yes + no {
		a := Yes
		if i >= yes {
			a = No
		}
		out = append(out, Verdict{Kind: Overflow, Chance: chance, Answer: a})
	}
	return out
}

// Which way a threshold goes, and what does not move it.
func TestWhatMovesAThreshold(t *testing.T) {
	none := Usual.Tuned(nil, time.Time{})
	if none != Usual {
		t.Errorf("without answers: %+v", none)
	}
	if got := Usual.Tuned([]Verdict{{Kind: Overflow, Chance: 0.7}, {Kind: BoilBy, Answer: No}, {Kind: BoilBy, Chance: 0.9, Answer: No}},
		time.Time{}); got != Usual {
		t.Errorf("questions without an answer, and kinds without a chance, moved %+v", got)
	}
	falls, comes := Usual.Tuned(onOverflow(0.6, 2, 18), time.Time{}), Usual.Tuned(onOverflow(0.6, 19, 1), time.Time{})
	if falls.OverflowProbability < 0.65 || comes.OverflowProbability > 0.4 {
		t.Errorf("mostly false: from %.2f on; mostly true: from %.2f on; want above 0.65 and below 0.4", falls.OverflowProbability,
			comes.OverflowProbability)
	}
	if falls.RunProbability != Usual.RunProbability || falls.CalledOff != Usual.CalledOff {
		t.Error("answers on overflow moved the chance from which runs are announced")
	}
	one := Usual.Tuned(onOverflow(0.6, 0, 1), time.Time{})
	if d := one.OverflowProbability - Usual.OverflowProbability; d < 0 || d > 0.08 {
		t.Errorf("one answer moves the threshold by %.2f", d)
	}
	if most, least := Usual.Tuned(onOverflow(0.9, 0, 500), time.Time{}),
		Usual.Tuned(onOverflow(0.5, 500, 0), time.Time{}); most.OverflowProbability > overflowMost ||
		least.OverflowProbability < overflowLeast {
		t.Errorf("beyond the bounds: %.2f, %.2f", most.OverflowProbability, least.OverflowProbability)
	}
	chosen := Usual
	chosen.OverflowProbability, chosen.OverflowChosen = 0.4, true
	chosen.AnnounceFrom(0.6)
	chosen.RunChosen = true
	if got := chosen.Tuned(slices.Concat(onOverflow(0.6, 0, 30), []Verdict{{Kind: Evening, Chance: 0.7, Answer: No}}),
		time.Time{}); got != chosen {
		t.Errorf("what the settings chose was moved to %+v", got)
	}
	runs := Usual.Tuned(slices.Repeat([]Verdict{{Kind: Evening, Chance: 0.4, Answer: Yes}}, 20), time.Time{})
	if runs.RunProbability >= Usual.RunProbability || runs.CalledOff > runs.RunProbability/3 {
		t.Errorf("runs that always came are announced from %.2f on and called off below %.2f", runs.RunProbability, runs.CalledOff)
	}
	old := time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC)
	if now, then := Usual.Tuned(dated(onOverflow(0.6, 0, 10), old), old),
		Usual.Tuned(dated(onOverflow(0.6, 0, 10), old), old.AddDate(3, 0, 0)); then.OverflowProbability >= now.OverflowProbability {
		t.Errorf("answers of three years ago count as much as today's: %.2f, %.2f", then.OverflowProbability, now.OverflowProbability)
	}
}

func dated(v []Verdict, at time.Time) []Verdict {
	for i := range v {
		v[i].AnsweredAt = at
	}
	return v
}

// Before any answer the aim is what was said: averaged over the prior, the model's true
// chance is within 0.02 of the said one.
func TestBeforeAnswersSaidIsTrue(t *testing.T) {
	slope := math.Sqrt(1 + bushSD*bushSD/2.89)
	for _, said := range []float64{0.1, 0.3, 0.5, 0.7, 0.9} {
		sum, weights := 0.0, 0.0
		for z := -4.0; z <= 4; z += 0.1 {
			w := math.Exp(-z * z / 2)
			sum += w * logistic(z*bushSD+slope*logit(said))
			weights += w
		}
		if got := sum / weights; math.Abs(got-said) > 0.02 {
			t.Errorf("said %.1f, true %.3f", said, got)
		}
	}
}
