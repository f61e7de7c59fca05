package main

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/cmd/thawline/internal/cli"
	"thawline/testdata/beside"
)

// written puts a file into the test's folder.
func written(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestBacktestThawMarksWhatItHadSeen(t *testing.T) {
	file := beside.File(t, "data/low-high-forecasts-2021-dev.csv")
	out, err := run(t, nil, "backtest", "thaw", "--train", file, "--test", file)
	if err != nil || !strings.Contains(out, "IN SAMPLE: the model had seen 799 of these nights") && !strings.Contains(out, "IN SAMPLE") {
		t.Errorf("%v\n%s", err, out)
	}
	pictures := filepath.Join(t.TempDir(), "pictures")
	out, err = run(t, nil, "backtest", "thaw", "--train", file, "--test", file, "--by-station", "--json", "--chart", pictures)
	var r struct {
		N                  int
		BrierSkill         float64 `json:"brier_skill"`
		RuleBrierSkill     float64 `json:"rule_brier_skill"`
		BaseRate           float64 `json:"base_rate"`
		InSample           bool    `json:"in_sample"`
		Leads, Reliability []any
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || r.InSample || r.BrierSkill < 0.52 || len(r.Leads) != 6 ||
		len(r.Reliability) < 8 {
		t.Errorf("%v %+v", err, r)
	}
	checkPicture(t, filepath.Join(pictures, "thaw-reliability.svg"))
}

func checkPicture(t *testing.T, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil || !strings.Contains(string(data), "<title") || !strings.Contains(string(data), "<desc") ||
		strings.Contains(string(data), "NaN") {
		t.Errorf("%v %s", err, data)
	}
}

func TestBacktestBuds(t *testing.T) {
	pictures := t.TempDir()
	out, err := run(t, nil, "backtest", "buds", "--temperatures", beside.File(t, "data/forest-station-1989-1996-daily.csv"),
		"--buds", beside.File(t, "data/bud-break-1990-1996.csv"), "--species", "sugar maple", "--train-until", "1993", "--json",
		"--chart", pictures)
	var r struct {
		N     int     `json:"n_test"`
		RMSE  float64 `json:"rmse_days"`
		Model string
		Years []struct {
			Year      int
			Observed  float64 `json:"observed_doy"`
			Predicted float64 `json:"predicted_doy"`
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || r.N != 3 || r.RMSE > 3.5 || r.Model == "" || len(r.Years) != 3 ||
		r.Years[0].Year != 1994 {
		t.Errorf("%v %+v", err, r)
	}
	checkPicture(t, filepath.Join(pictures, "buds-years.svg"))
}

func TestBacktestSap(t *testing.T) {
	pictures := t.TempDir()
	args := []string{"backtest", "sap", "--weather", beside.File(t, "data/forest-station-2012-2014-daily.csv"), "--records",
		beside.File(t, "data/tap-log-2014.csv"),
		"--at", "42.4485,-72.6806", "--tz", "America/New_York", "--warmer", "0.58", "--chart", pictures}
	type result struct {
		N        int
		Spearman float64
		Coverage float64 `json:"coverage80"`
		Visits   []struct{ Date string }
	}
	for k, train := range [][]string{nil, {"--train", beside.File(t, "data/tap-log-2013.csv")}} {
		out, err := run(t, nil, append(append(args, "--json"), train...)...)
		var r result
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(out), &r); err != nil || r.N != 16 || len(r.Visits) != 16 ||
			r.Spearman < []float64{0.75, 0.7}[k] || r.Coverage < 0.7 {
			t.Errorf("%v %+v", err, r)
		}
	}
	checkPicture(t, filepath.Join(pictures, "sap-visits.svg"))
	if out, err := run(t, nil, args...); err != nil || !strings.Contains(out, "2014-03-11         80+") {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestBacktestSensitivity(t *testing.T) {
	out, err := run(t, nil, "backtest", "sensitivity", "--weather", beside.File(t, "data/hill-station-2015-hourly.csv"), "--at",
		"42.4485,-72.6806")
	if err != nil || !strings.Contains(out, "emptying time") {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestBacktestFaults(t *testing.T) {
	const weather = "time,temperature_c\n2026-03-01T00:00:00Z,1\n2026-03-01T01:00:00Z,1\n2026-03-01T02:00:00Z,1\n2026-03-05T02:00:00Z,1\n"
	hourly := written(t, "hourly.csv", weather)
	log := func(rows string) string { return written(t, "log.csv", "date,taps,volume_l\n"+rows) }
	sap := func(weather, records string) []string {
		return []string{"backtest", "sap", "--weather", weather, "--records", records, "--at", "44,-72", "--tz", "America/New_York",
			"--now", "2026-05-01T00:00:00Z"}
	}
	pairs := "station,night_of,low_forecast_12h_f,low_forecast_24h_f,low_forecast_36h_f,low_observed_f,next_high_forecast_24h_f,next_high_forecast_36h_f,next_high_forecast_48h_f,next_high_observed_f\n"
	celsius := pairs
	mixed := pairs
	for day := 10; day < 29; day++ {
		celsius += "A,2021-02-" + string(rune('0'+day/10)) + string(rune('0'+day%10)) + ",-5,-5,-5,-6,3,3,3,4\n"
		mixed += "A,2021-02-" + string(rune('0'+day/10)) + string(rune('0'+day%10)) + ",-5,-5,-5,23,3,3,3,39\n"
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{sap(hourly, log("2026-03-02,50,\n2026-03-01,50,5\n")),
			"line 3: the visit of 2026-03-01 comes after line 2, of 2026-03-02; sort the file by date"},
		{sap(hourly, log("2026-03-02,50,4\n2026-03-02,50,5\n")),
			"line 3: a second visit of the same group at the moment of line 2; add the volumes up"},
		{sap(hourly, log("2026-03-02,50,4\n2027-03-02,50,5\n")), "line 3: the visit of 2027-03-02 lies in the future; check its year"},
		{sap(hourly, log("2025-03-02,50,4\n")), "line 2: the visit of 2025-03-02 lies outside the weather, 2026-03-01 to 2026-03-05"},
		{sap(hourly, log("2026-03-02,50,4\n")), "0 visits can be scored, and at least 3 are needed"},
		{sap(hourly, written(t, "both.csv", "date,volume_l,volume_gal\n2026-03-02,4,1\n")),
			"both volume_l and volume_gal; keep one of these columns"},
		{sap(written(t, "w.csv", "time,temperatur_c\n2026-03-01T00:00:00Z,1\n"), log("2026-03-02,50,4\n")),
			`did you mean "temperature_c"?`},
		{sap(written(t, "w.csv", "time,temperature_c\n2026-03-01T01:00:00Z,1\n2026-03-01T00:00:00Z,1\n"), log("2026-03-02,50,4\n")),
			"earlier than line 2; sort the file by time"},
		{sap(written(t, "w.csv", "time,temperature_c\n2026-03-01T01:00:00Z,1\n2026-03-01T01:00:00Z,1\n"), log("2026-03-02,50,4\n")),
			"the hour of line 2 again; keep one of them"},
		{[]string{"backtest", "sap"}, "--weather: name an hourly or a daily weather file\n--records: name a file of tap records\n--at: (nothing): not a place; write degrees north and east"},
		{append(sap(hourly, log("2026-03-02,50,4\n")), "--without", "wnd"), `--without: wnd is no part of the model; did you mean "wind"?`},
		{[]string{"backtest", "thaw", "--train", written(t, "c.csv", celsius), "--test", hourly},
			"the highs of A look like °C; write them in °F"},
		{[]string{"backtest", "thaw", "--train", written(t, "m.csv", mixed), "--test", hourly},
			"forecasts and observations of A differ by 36 °F on average; one of them is in another unit"},
		{[]string{"backtest", "thaw", "--train",
			written(t, "u.csv", pairs+"A,2021-02-02,1,1,1,1,1,1,1,1\nA,2021-02-01,1,1,1,1,1,1,1,1\n"), "--test", hourly},
			"earlier than the row of A before it; sort each station's rows by night"},
		{[]string{"backtest", "buds"}, "give --temperatures FILE, --buds FILE and --species NAME"},
		{[]string{"backtest", "buds", "--temperatures", written(t, "d.csv", "date,tmin_c,tmax_c\n2013-01-01,1,2\n"), "--buds",
			written(t, "b.csv", "year,species\n1990,red maple\n"), "--species", "red maple"}, "b.csv:1: no column leaf_bud_break_doy"},
		{[]string{"backtest", "buds", "--temperatures", written(t, "d.csv", "date,tmin_c,tmax_c\n2013-01-01,1,2\n"), "--buds",
			written(t, "b.csv", "year,species,leaf_bud_break_doy\n1990,red maple,120\n1990,Red Maple,121\n1991,red maple,1240\n"),
			"--species", "red maple"}, "b.csv:4: leaf_bud_break_doy: 1240: not a day of the year"},
	} {
		_, err := run(t, nil, c.args...)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v\n got  %v\n want %s", c.args[1:4], err, c.want)
		}
	}
	var wrong *cli.UsageError
	if _, err := run(t, nil, "backtest", "sap"); !errors.As(err, &wrong) {
		t.Error("flags that are missing are not told as wrong use")
	}
}

func TestBacktestWork(t *testing.T) {
	weather, records := beside.File(t, "data/madison-daily-1990-2020.csv"), beside.File(t, "data/tap-visits-wisconsin-2015.csv")
	const head = "name,weather,records,latitude,longitude,zone,taps,container_l\n"
	table := written(t, "seasons.csv", head+"Wisconsin 2015,"+weather+","+records+",44.15,-87.72,America/Chicago,470,7.5\n")
	out, err := run(t, nil, "backtest", "work", "--files", table, "--draws", "2", "--forecasts", "1", "--json")
	type point struct {
		Walks float64
		LossL float64 `json:"loss_l"`
	}
	var r struct {
		Seasons []struct {
			Name     string
			Recorded bool
			Curves   struct{ Habits, Ours, Perfect []point }
			Value    *float64
		}
		Recorded *float64 `json:"value_recorded"`
		Twins    *float64 `json:"value_twins"`
		Nothing  []string `json:"nothing_to_gain"`
		Overflow map[string]any
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || len(r.Seasons) != 2 || !r.Seasons[0].Recorded || r.Seasons[1].Recorded {
		t.Fatalf("%v\n%s", err, out)
	}
	if r.Seasons[0].Value != nil || r.Recorded != nil || len(r.Nothing) != 1 || r.Nothing[0] != "Wisconsin 2015" || r.Twins == nil {
		t.Errorf("in a season in which next to nothing runs over there is something to gain: %v, %v", r.Recorded, r.Nothing)
	}
	for _, s := range r.Seasons {
		if len(s.Curves.Habits) < 10 || len(s.Curves.Ours) < 5 || len(s.Curves.Perfect) < 20 {
			t.Errorf("%s: %d, %d, %d points", s.Name, len(s.Curves.Habits), len(s.Curves.Ours), len(s.Curves.Perfect))
		}
	}
	for _, key := range []string{"hits", "false", "notice_h", "daylight_h", "reliability", "threshold"} {
		if _, there := r.Overflow[key]; !there {
			t.Errorf("no %s of warnings", key)
		}
	}
	for _, c := range []struct{ text, want string }{
		{"", "--files: name a table of seasons"},
		{head + "a,no.csv,no.csv,44,-72,America/New_York,50,7.5\n", "no.csv"},
	} {
		args := []string{"backtest", "work"}
		if c.text != "" {
			args = append(args, "--files", written(t, "broken.csv", c.text))
		}
		if _, err := run(t, nil, args...); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}

func TestBacktestFit(t *testing.T) {
	weather := beside.File(t, "data/forest-station-2012-2014-daily.csv")
	const head = "name,weather,records,latitude,longitude,zone,warmer_k\n"
	row := func(year string) string {
		return "hill " + year + "," + weather + "," + beside.File(t, "data/tap-log-"+year+".csv") +
			",42.4485,-72.6806,America/New_York,0.58\n"
	}
	table := written(t, "rows.csv", head+row("2014")+row("2013"))
	out, err := run(t, nil, "backtest", "fit", "--files", table, "--leave", "hill 2013", "--json")
	if err != nil {
		t.Fatal(err)
	}
	var r struct {
		N            int
		LeftOut      string             `json:"left_out"`
		CRPSSkill    float64            `json:"crps_skill"`
		HabitSkill   float64            `json:"habit_crps_skill"`
		FlowSpearman float64            `json:"flow_spearman"`
		Coverage80   float64            `json:"coverage80"`
		Flow         map[string]float64 `json:"flow"`
		Offset       map[string]float64 `json:"offset"`
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || r.N != 29 || r.LeftOut != "hill 2013" || r.CRPSSkill < 0.2 ||
		r.HabitSkill > 0 || r.FlowSpearman < 0.6 || len(r.Flow) != 3 || len(r.Offset) != 2 {
		t.Errorf("%v %+v", err, r)
	}
	for _, c := range []struct{ text, leave, want string }{
		{"", "x", "--files: name a table of seasons"},
		{head + row("2014") + row("2013"), "hill 2017", "no row is called hill 2017; the table has hill 2014, hill 2013"},
		{head + row("2014"), "hill 2014", "1 row in the table"},
		{head + strings.Replace(row("2014"), ",42.4485", ",,42.4485", 1), "hill 2014", "rows.csv:2"},
	} {
		args := []string{"backtest", "fit", "--leave", c.leave}
		if c.text != "" {
			args = append(args, "--files", written(t, "rows.csv", c.text))
		}
		if _, err := run(t, nil, args...); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}
