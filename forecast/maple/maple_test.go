package maple

import (
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/forecast/season"
	"thawline/testdata/beside"
)

// Red maple's buds beside sugar maple's as the table has them: Harvard Forest 1990 to 1996
// (HF003, O'Keefe).
func TestBudsOfRedMaple(t *testing.T) {
	f := beside.Open(t, "data/bud-break-1990-1996.csv")
	years, err := season.ReadBuds(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	flowers := meanOf(t, "flower_bud_break_doy", Red)
	leaves, n := map[string]float64{}, map[string]float64{}
	for _, y := range years {
		leaves[y.Species] += y.LeafDOY
		n[y.Species]++
	}
	later := leaves[string(Red)]/n[string(Red)] - leaves[string(Sugar)]/n[string(Sugar)]
	first := flowers - leaves[string(Sugar)]/n[string(Sugar)]
	if red := Of(Red); math.Abs(later-red.LeavesDays) > 0.1 || math.Abs(first-red.FirstBudsDays) > 0.1 {
		t.Errorf("leaves open %.2f days later and flowers %.2f, the table has %.2f and %.2f", later, first, red.LeavesDays,
			red.FirstBudsDays)
	}
}

// meanOf is the mean of a column of the file for one species.
func meanOf(t *testing.T, column string, of Species) float64 {
	t.Helper()
	rows, err := csv.NewReader(beside.Open(t, "data/bud-break-1990-1996.csv")).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at, sum, n := slices.Index(rows[0], column), 0.0, 0.0
	for _, row := range rows[1:] {
		if row[slices.Index(rows[0], "species")] == string(of) {
			day, err := strconv.ParseFloat(row[at], 64)
			if err != nil {
				t.Fatal(err)
			}
			sum, n = sum+day, n+1
		}
	}
	return sum / n
}

// A red maple ends earlier and has less sugar and sap; of another species all is known less
// well; every value has a source.
func TestSpeciesDiffer(t *testing.T) {
	sugar, red, other := Of(Sugar), Of(Red), Of(Other)
	if !(red.Warmth < sugar.Warmth && red.Sugar < sugar.Sugar && red.Yield < sugar.Yield) {
		t.Errorf("red maple %+v beside %+v", red, sugar)
	}
	if !(other.YieldLogSD > red.YieldLogSD && other.SugarLogSD > red.SugarLogSD && other.WarmthLogSD > red.WarmthLogSD &&
		other.BudsSDDays > red.BudsSDDays) {
		t.Errorf("other is not wider: %+v beside %+v", other, red)
	}
	if Of("") != sugar {
		t.Error("without a name it is no sugar maple")
	}
	for i := range Table {
		p := &Table[i]
		if p.Source == "" || p.Name == "" || p.Unit == "" || p.Value(Sugar) != *p.of(&sugar) || p.Value(Red) != *p.of(&red) ||
			p.Value(Other) != *p.of(&other) {
			t.Errorf("row %+v", p)
		}
	}
	if _, err := Parse("birch"); err == nil || !strings.Contains(err.Error(), "sugar maple, red maple, other") {
		t.Error(err)
	}
}
