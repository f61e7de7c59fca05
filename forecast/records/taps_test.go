package records

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// An event can be kept once it was done, of a group that there is; of today it is of
// now where its hour is still to come.
func TestCheckTap(t *testing.T) {
	zone := newYork(t)
	now := time.Date(2026, 4, 8, 10, 30, 0, 0, zone)
	groups := []Group{{"north", "North side"}, {"south", ""}}
	on := func(kind TapKind, day int) TapEvent {
		e := TapEvent{Group: "north", Kind: kind}
		e.OnDay(time.Date(2026, 4, day, 0, 0, 0, 0, zone), zone)
		return e
	}
	for name, c := range map[string]struct {
		e     TapEvent
		fault Kind
		near  string
		at    time.Time
		group string
	}{
		"by name":           {e: TapEvent{Group: "North  Side", Kind: Pulled, On: now}, at: now, group: "north"},
		"of another name":   {e: TapEvent{Group: "norht", Kind: Pulled, On: now}, fault: UnknownGroup, near: "north"},
		"of no name":        {e: TapEvent{Kind: Pulled, On: now}, fault: NoGroup},
		"tomorrow":          {e: on(Pulled, 9), fault: Future},
		"tapped tomorrow":   {e: on(Tapped, 9), fault: Future},
		"in an hour":        {e: TapEvent{Group: "south", Kind: Pulled, On: now.Add(time.Hour)}, fault: Future},
		"today":             {e: on(Pulled, 8), at: now, group: "north"},
		"yesterday":         {e: on(Pulled, 7), at: time.Date(2026, 4, 7, UsualHour, 0, 0, 0, zone), group: "north"},
		"tapped the day":    {e: on(Tapped, 7), at: time.Date(2026, 4, 7, 0, 0, 0, 0, zone), group: "north"},
		"tapped today":      {e: on(Tapped, 8), at: time.Date(2026, 4, 8, 0, 0, 0, 0, zone), group: "north"},
		"of the only group": {e: TapEvent{Kind: Pulled, On: now}, at: now, group: "south"},
		"a year ago, by day": {e: TapEvent{Group: "south", Kind: Pulled, On: now.AddDate(-1, 0, 0)}, at: now.AddDate(-1, 0, 0),
			group: "south"},
	} {
		known := groups
		if name == "of the only group" {
			known = groups[1:]
		}
		fault := CheckTap(&c.e, known, now)
		if (fault == nil) != (c.fault == "") || fault != nil && (fault.Kind != c.fault || fault.Near != c.near) {
			t.Errorf("%s: %v", name, fault)
		}
		if fault == nil && (!c.e.On.Equal(c.at) || c.e.Group != c.group) {
			t.Errorf("%s: %+v", name, c.e)
		}
	}
}

// The last that was done counts: pulled since the first pull, until it is tapped again.
func TestStanding(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 4, n, 12, 0, 0, 0, time.UTC) }
	events := []TapEvent{{Kind: Tapped, On: day(1)}, {Kind: Pulled, On: day(5)}, {Kind: Pulled, On: day(7)}, {Kind: Tapped, On: day(9)}}
	for at, want := range map[int][2]time.Time{0: {}, 2: {day(1)}, 5: {day(1), day(5)}, 8: {day(1), day(5)}, 9: {day(9)}, 20: {day(9)}} {
		if tapped, pulled := Standing(events, day(at)); tapped != want[0] || pulled != want[1] {
			t.Errorf("day %d: %s %s", at, tapped, pulled)
		}
	}
	for _, c := range []struct {
		kind TapKind
		day  int
		same bool
	}{{Pulled, 6, true}, {Pulled, 5, true}, {Pulled, 4, false}, {Tapped, 6, false}, {Pulled, 10, false}, {Tapped, 9, true},
		{Tapped, 10, false}} {
		e := TapEvent{Kind: c.kind, On: day(c.day)}
		if e.SaysNothingNew(events) != c.same {
			t.Errorf("%s on day %d", c.kind, c.day)
		}
	}
}

// A notebook with what was done to taps is written and read back without loss; without
// it the file is as it was.
func TestNotebookWithTaps(t *testing.T) {
	zone := newYork(t)
	n, err := ReadNotebook(strings.NewReader(
		"date,group,volume_l,taps_event\n2026-03-01,north,,tapped\n2026-03-05,north,40,\n2026-04-08,north,,Désentaillé\n"), "log.csv", zone)
	if err != nil || len(n.Visits) != 1 || len(n.Taps) != 2 || n.Taps[0].Kind != Tapped || n.Taps[1].Kind != Pulled ||
		n.Taps[1].Line != 4 || n.Taps[0].On.Hour() != 0 || n.Taps[1].On.Hour() != UsualHour || len(n.NotRead) > 0 {
		t.Fatalf("%v %+v", err, n)
	}
	n.Taps = append(n.Taps, TapEvent{Site: "hill", Group: "=north", Kind: Pulled, On: time.Date(2026, 4, 9, 14, 30, 0, 5e6, zone)})
	var file bytes.Buffer
	if err := WriteNotebook(&file, n, zone); err != nil {
		t.Fatal(err)
	}
	back, err := ReadNotebook(&file, "log.csv", zone)
	if err != nil {
		t.Fatal(err)
	}
	for i := range back.Taps {
		back.Taps[i].Line, n.Taps[i].Line = 0, 0
	}
	if d := cmp.Diff(n.Taps, back.Taps); d != "" || len(back.Visits) != 1 || back.Visits[0].VolumeL != 40 {
		t.Errorf("%s %+v", d, back)
	}
	for text, want := range map[string]string{
		"date,group,volume_l,taps_event\n2026-03-01,north,,drilled\n": "log.csv:2: taps_event: drilled: nothing that is done to taps; write tapped or pulled, or nothing for a visit",
		"date,group,volume_l,taps_event\nlast week,north,,pulled\n":   "log.csv:2: date: last week: not a date",
	} {
		if _, err := ReadNotebook(strings.NewReader(text), "log.csv", zone); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v", err)
		}
	}
}
