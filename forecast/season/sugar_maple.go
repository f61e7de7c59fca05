package season

// learnt are the candidates that weigh most for the leaf buds of sugar maple at
// Harvard Forest, central Massachusetts (42.53° N, 340 m), 1990 to 1996, with
// the level at which they opened, the error on years left out in days, and the
// weight: LearnBuds on bud dates HF003 (O'Keefe) and temperatures HF000 (Boose
// and Gould).
var learnt = []struct {
	name                string
	level, rmse, weight float64
}{
	{"Sarvas forcing times day length to the power 9", 432.5, 3.22, 0.14},
	{"Sarvas forcing times day length to the power 7", 357.2, 3.23, 0.14},
	{"Sarvas forcing times day length to the power 5", 300.4, 3.44, 0.092},
	{"degree days above 4 °C from day 60, 1.6 % less a chilling day", 214, 2.34, 0.056},
	{"degree days above 4 °C from day 60, 1.2 % less a chilling day", 203.4, 2.42, 0.046},
	{"degree days above 4 °C from day 70, 1.2 % less a chilling day", 195.2, 2.51, 0.036},
	{"degree days above 4 °C from day 70, 0.8 % less a chilling day", 185.5, 2.63, 0.028},
	{"degree days above 2 °C from day 60, 1.2 % less a chilling day", 278.4, 2.73, 0.022},
	{"degree days above 0 °C from day 91", 229.1, 3.58, 0.018},
	{"degree days above 4 °C from day 79, 1.2 % less a chilling day", 177.1, 2.84, 0.017},
	{"degree days above 4 °C from day 91", 135.5, 3.61, 0.017},
	{"degree days above 2 °C from day 79, 0.8 % less a chilling day", 227.1, 2.85, 0.017},
	{"degree days above 2 °C from day 91", 179, 3.62, 0.016},
	{"degree days above 0 °C from day 79", 268.6, 3.65, 0.016},
}

// What people can count by themselves: buds opened at BudSum degree days above
// SumBaseC from 1 March on at Harvard Forest.
const (
	SumBaseC = 4.0
	BudSum   = 176.0
	sumFrom  = 60
)

const learntYears = 7

// SugarMaple is what was learnt about sugar maple, for trees at a latitude.
func SugarMaple(latitudeDeg float64) *Buds {
	b := &Buds{Species: "sugar maple", LatitudeDeg: latitudeDeg, smallSample: smallSampleOf(learntYears)}
	total := 0.0
	for _, l := range learnt {
		total += l.weight
	}
	for _, c := range counts() {
		for _, l := range learnt {
			if l.name == c.name {
				b.Counts = append(b.Counts, LearnedCount{Name: c.name, Family: c.family, count: c, Level: l.level, RMSEDays: l.rmse, Weight: l.weight / total})
			}
		}
	}
	return b
}
