package season

// sugarMapleLevel is the level at which leaf buds of sugar maple opened at Harvard Forest,
// central Massachusetts (42.53° N, 340 m), 1990 to 1996: LearnBuds on bud dates HF003
// (O'Keefe) and temperatures HF000 (Boose and Gould).
const sugarMapleLevel = 313.1

// What people can count by themselves: buds opened at BudSum degree days above
// SumBaseC from 1 March on at Harvard Forest.
const (
	SumBaseC = 4.0
	BudSum   = 176.0
	sumFrom  = 60
)

// SugarMaple is what is known of sugar maple at a latitude, at a place of which no bud was
// ever noted.
func SugarMaple(latitudeDeg float64) *Buds {
	return &Buds{Species: "sugar maple", LatitudeDeg: latitudeDeg, Level: sugarMapleLevel, levelLogSD: budPlaceLogSD,
		yearSDDays: budYearSDDays}
}
