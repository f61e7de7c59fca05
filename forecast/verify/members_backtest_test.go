package verify

import (
	"strings"
	"testing"

	"thawline/testdata/beside"
)

// Eight centres' members, 48 hours ahead, with what was observed in the Pacific
// Northwest in January and February 2004 (R package ensembleBMA, data set srft).
func TestDressedMembersHoldWhatComes(t *testing.T) {
	f := beside.Open(t, "data/ensemble-48h-pacific-northwest-2004.csv")
	cases, err := ReadMembers(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	r, err := BacktestMembers(cases)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", r)
	if r.Members != 8 || r.Dressed.BrierSkill < 0.18 || r.Dressed.Coverage80 < 0.77 || r.Dressed.Coverage80 > 0.83 {
		t.Errorf("dressed: %+v", r.Dressed)
	}
	if r.Raw.BrierSkill > 0 || r.Raw.Coverage80 > 0.25 {
		t.Errorf("as they come: %+v", r.Raw)
	}
	if r.Weighed.BrierSkill > r.Dressed.BrierSkill+0.01 {
		t.Errorf("weights are worth having: %+v", r.Weighed)
	}
	later := append([]MembersCase{}, cases...)
	for i := len(later) / 2; i < len(later); i++ { // nothing of the second half is fitted
		later[i].ObservedC += 5
	}
	if other, err := BacktestMembers(later); err != nil || other.BiasK != r.BiasK || other.SDK != r.SDK {
		t.Errorf("fitted %+v, then %+v: %v", r, other, err)
	}
}

func TestBrokenMembers(t *testing.T) {
	for _, c := range []struct{ body, want string }{
		{"valid_utc,member1,observed_c\n", "f.csv:1: 1 columns member… and 1 observed…"},
		{"valid_utc,member1,member2,observed_c\nmonday,1,2,3\n",
			"f.csv:2: valid_utc: monday is no time; write it like 2004-01-01T00:00:00Z"},
		{"valid_utc,member1,member2,observed_c\n2004-01-01T00:00:00Z,1,200,3\n", "f.csv:2: member2: 200 °C is no temperature of any place"},
	} {
		if _, err := ReadMembers(strings.NewReader(c.body), "f.csv"); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got  %v\nwant %s", err, c.want)
		}
	}
	if _, err := BacktestMembers(nil); err == nil || !strings.Contains(err.Error(), "give a longer file") {
		t.Errorf("%v", err)
	}
}
