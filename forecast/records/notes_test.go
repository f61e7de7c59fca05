package records

import (
	"testing"
	"time"

	"thawline/testdata/beside"
)

func TestRemarks(t *testing.T) {
	for note, want := range map[string]Remarks{
		"":                       {},
		"Lots of ice!":           {Ice: true},
		"Little sap, all frozen": {Ice: true},
		"nice and clear":         {},
		"not checked":            {NotChecked: true},
		"A couple full buckets!": {Full: true},
		"carefully wiped":        {},
		"Start of the interval unknown: do not score": {StartUnknown: true},
		"début inconnu":                            {StartUnknown: true},
		"started at a farm not known to us":        {},
		"collected 7 gal but dumped it":            {Emptied: true},
		"some spilled":                             {Spilled: true},
		"full, spilled a bit on the hill":          {Spilled: true, Full: true},
		"un peu renversé":                          {Spilled: true},
		"all of it spilled":                        {Emptied: true},
		"Looked like the buckets had been emptied": {Emptied: true},
		"beaucoup de glace, deux seaux pleins":     {Ice: true, Full: true},
	} {
		if got := (Visit{Note: note}).Remarks(); got != want {
			t.Errorf("%q: %+v, want %+v", note, got, want)
		}
	}
}

func TestHourFromNote(t *testing.T) {
	at := time.Date(2013, 3, 26, UsualHour, 0, 0, 0, time.UTC)
	for note, want := range map[string]string{
		"collected at 9 AM": "09:00", "at 12:30 pm": "12:30", "at 12 am": "00:00", "ramassé à 18 h": "18:00",
		"found 9 am papers": "16:00", "at 25 pm": "16:00", "at 3 pm": "15:00", "": "16:00",
	} {
		if got := hourFromNote(at, note).Format("15:04"); got != want {
			t.Errorf("%q: %s, want %s", note, got, want)
		}
	}
}

// Every oddity of the tap logs (CC0, Baumer et al., R package macleish) is
// seen: ice, sap poured away, pails not looked at, full ones, an hour.
func TestRemarksOfTapLogs(t *testing.T) {
	count := map[string]int{}
	for _, year := range []string{"2013", "2014"} {
		f := beside.Open(t, "data/tap-log-"+year+".csv")
		visits, err := ReadCSV(f, f.Name(), time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range visits {
			r := v.Remarks()
			for k, on := range map[string]bool{"ice": r.Ice, "full": r.Full, "emptied": r.Emptied, "not checked": r.NotChecked,
				"hour": v.CollectedAt.Hour() != UsualHour} {
				if on {
					count[k]++
				}
			}
		}
	}
	for k, want := range map[string]int{"ice": 7, "full": 1, "emptied": 2, "not checked": 2, "hour": 1} {
		if count[k] != want {
			t.Errorf("%s: %d notes, want %d", k, count[k], want)
		}
	}
}
