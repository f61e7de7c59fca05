package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/records"
)

var columns = []string{"kind", "at", "sap_l", "sap_p10_l", "sap_p90_l", "low_c", "high_c", "ran", "lot", "groups", "gathered_from",
	"gathered_to", "brix_pct", "syrup_l", "sugar_kg", "filter", "containers", "note"}

// CSV is the season's figures: a row a day, an hour and a lot, by kind. What is not known is
// empty; hours are UTC.
func CSV(s *Season) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	rows := [][]string{columns}
	for i := range s.Past.Days {
		d := &s.Past.Days[i]
		if d.Known {
			rows = append(rows, row(map[string]string{"kind": "day", "at": d.Date, "sap_l": figure(d.SapL.P50),
				"sap_p10_l": figure(d.SapL.P10), "sap_p90_l": figure(d.SapL.P90),
				"low_c": figure(d.TemperatureC.Min), "high_c": figure(d.TemperatureC.Max), "ran": strconv.FormatBool(d.Ran)}))
		}
	}
	h := &s.Past.Hours
	for i, q := range h.FlowLH.P50 {
		if !math.IsNaN(q) {
			rows = append(rows, row(map[string]string{"kind": "hour",
				"at": h.Start.Add(time.Duration(i) * time.Hour).UTC().Format(time.RFC3339), "sap_l": figure(q),
				"sap_p10_l": figure(h.FlowLH.P10[i]), "sap_p90_l": figure(h.FlowLH.P90[i]),
				"low_c": figure(h.TemperatureC.P50[i]), "high_c": figure(h.TemperatureC.P50[i])}))
		}
	}
	for i := range s.Lots {
		l := &s.Lots[i]
		rows = append(rows, row(map[string]string{"kind": "lot", "at": l.At.UTC().Format(time.RFC3339), "sap_l": figure(l.SapL),
			"lot": l.ID, "groups": strings.Join(l.Groups, " "), "gathered_from": l.From, "gathered_to": l.To,
			"brix_pct": figure(l.Brix), "syrup_l": figure(l.SyrupL), "sugar_kg": figure(l.SugarKg),
			"filter": records.NoFormula(l.Filter), "containers": records.NoFormula(l.Containers), "note": records.NoFormula(l.Note)}))
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("the table of %d: %w", s.Year, err)
	}
	return out.Bytes(), nil
}

func row(values map[string]string) []string {
	out := make([]string, len(columns))
	for i, name := range columns {
		out[i] = values[name]
	}
	return out
}

func figure(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(x, 'g', 6, 64)
}
