package records

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"time"

	"thawline/forecast/table"
)

var houseColumns = []string{"at", "kind", "sap_l", "syrup_l", "sugar_kg", "wood_cords", "hours", "note", "pan", "left_c", "water_c",
	"humidity_pct", "outcome"}

// ReadHouse reads lines of the sugarhouse's book in the order of the file: at (RFC 3339,
// a local time or a day), kind (boiled, sap_left, tipped_out, wood_left, syrup_left, stirred), and any of sap_l, syrup_l,
// sugar_kg, wood_cords, hours, note and pan; of stirred also left_c, water_c, humidity_pct
// and outcome (caked, poured, lumps). Errors call the file by
// name and tell everything that is wrong, with line, column and remedy.
func ReadHouse(r io.Reader, name string, zone *time.Location, now time.Time) ([]HouseEntry, error) {
	t, err := table.NewReader(r, name, houseColumns, table.Names{"date": "at", "quand": "at", "when": "at", "what": "kind"})
	if err != nil {
		return nil, err
	}
	t.Limit(mostRows)
	t.Require("at", "kind")
	if err := t.Err(); err != nil {
		return nil, err
	}
	var out []HouseEntry
	for row := range t.Rows() {
		e := HouseEntry{Kind: HouseKind(row.Text("kind")), Note: plainText(row.Raw("note")),
			SapL: row.Number("sap_l"), SyrupL: row.Number("syrup_l"), SugarKg: row.Number("sugar_kg"),
			WoodCords: row.Number("wood_cords"), Hours: row.Number("hours"), Pan: row.Text("pan")}
		if e.Kind == Stirred {
			e.Sugar = &SugarBatch{LeftC: row.Number("left_c"), WaterC: row.Number("water_c"), HumidityPct: row.Number("humidity_pct"),
				Outcome: row.Text("outcome")}
		}
		at, _, err := ParseMoment(row.Text("at"), zone)
		if err != nil {
			row.Fail("at", row.Text("at")+": not a moment", err.Error())
			continue
		}
		e.At = at
		if err := e.Check(now); err != nil {
			row.Fail("kind", "not kept", err.Error())
		}
		out = append(out, e)
	}
	return out, t.Err()
}

// WriteHouse writes a book as ReadHouse reads it.
func WriteHouse(w io.Writer, book []HouseEntry, zone *time.Location) error {
	out := csv.NewWriter(w)
	if err := out.Write(houseColumns); err != nil {
		return fmt.Errorf("writing the sugarhouse's book: %w", err)
	}
	figure := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return number(x)
	}
	for i := range book {
		e := &book[i]
		sugar := SugarBatch{math.NaN(), math.NaN(), math.NaN(), ""}
		if e.Sugar != nil {
			sugar = *e.Sugar
		}
		if err := out.Write([]string{e.At.In(zone).Format(time.RFC3339), string(e.Kind), figure(e.SapL), figure(e.SyrupL),
			figure(e.SugarKg), figure(e.WoodCords), figure(e.Hours), NoFormula(e.Note), NoFormula(e.Pan),
			figure(sugar.LeftC), figure(sugar.WaterC), figure(sugar.HumidityPct), sugar.Outcome}); err != nil {
			return fmt.Errorf("writing the sugarhouse's book: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing the sugarhouse's book: %w", err)
	}
	return nil
}
