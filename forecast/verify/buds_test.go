package verify

import (
	"context"
	"errors"
	"strings"
	"testing"

	"thawline/forecast/season"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// forest reads daily temperatures (HF000, Boose and Gould) and bud dates
// (HF003, O'Keefe) of Harvard Forest, 1990 to 1996.
func forest(t *testing.T) (*weather.Daily, []season.BudYear) {
	t.Helper()
	f := beside.Open(t, "data/forest-station-1989-1996-daily.csv")
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	g := beside.Open(t, "data/bud-break-1990-1996.csv")
	buds, err := season.ReadBuds(g, g.Name())
	if err != nil {
		t.Fatal(err)
	}
	return &d, buds
}

func TestBudSkill(t *testing.T) {
	d, buds := forest(t)
	for _, species := range []string{"sugar maple", "red maple"} {
		for until, most := range map[int]float64{0: 3.8, 1993: 4.6} {
			r, err := BacktestBuds(context.Background(), d, buds, BudOptions{Species: species, TrainUntil: until, LatitudeDeg: 42.5})
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%s until %d: %d years, RMSE %.2f d, climatology %.2f, plain %.2f, best fit %.2f, cover %.2f, asked %+v", species,
				until, r.NTest, r.RMSEDays, r.ClimatologyRMSE, r.PlainRMSE, r.BestFitRMSE, r.Coverage80, r.Asked)
			if r.RMSEDays > most || r.RMSEDays > r.PlainRMSE-0.4 {
				t.Errorf("%s until %d: RMSE %.2f days, plain degree days %.2f", species, until, r.RMSEDays, r.PlainRMSE)
			}
			// Early dates are wide, and say so.
			if a := r.Asked; len(a) != 3 || a[0].Width80 < a[2].Width80 || a[2].Width80 < 2*1.28*r.RMSEDays*0.6 {
				t.Errorf("%+v", r.Asked)
			}
		}
	}
}

func TestBudFaults(t *testing.T) {
	d, buds := forest(t)
	ctx, stop := context.WithCancel(context.Background())
	for _, c := range []struct {
		o    BudOptions
		want string
	}{
		{BudOptions{Species: "silver maple"}, "species in the file: red maple, sugar maple"},
		{BudOptions{Species: "sugar maple", TrainUntil: 1991}, "2 years of sugar maple have both a bud date and temperatures"},
		{BudOptions{Species: "sugar maple", TrainUntil: 2001}, "no year after 2001"},
	} {
		if _, err := BacktestBuds(ctx, d, buds, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c.o, err)
		}
	}
	stop()
	if _, err := BacktestBuds(ctx, d, buds, BudOptions{Species: "red maple"}); !errors.Is(err, context.Canceled) {
		t.Error("an interrupted backtest says nothing")
	}
}
