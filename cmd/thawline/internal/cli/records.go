package cli

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// ToTheMinute is how a moment is written in lists.
const ToTheMinute = "2006-01-02 15:04"

// Visits is what is to be kept of one file, or of the options of add.
type Visits struct {
	Name     string // of the file, "" for none
	List     []records.Visit
	NotRead  []string // columns
	Doubtful bool     // keep what looks like a slip
	Only     bool     // what is written for the same moment stays
}

// KeepVisits checks visits against the site and writes them, telling what became
// of them and what was odd.
func KeepVisits(cmd *cobra.Command, g *Globals, settings *config.Config, site *forecast.Site, k Visits) error {
	words, err := app.Words(settings)
	if err != nil {
		return err
	}
	var groups []records.Group
	for _, gr := range site.Groups {
		groups = append(groups, records.Group{ID: gr.ID, Name: gr.Name})
	}
	doubts := append(records.Settle(k.List, site.ID, groups), records.Doubts(k.List, g.Clock(), holdsOf(site))...)
	var refused, told []string
	remedy := words.Say("records_put_right_or_keep", nil)
	for i := range doubts {
		d := &doubts[i]
		if d.Refusal && (!k.Doubtful || d.Firm()) {
			refused = append(refused, k.place(d)+words.Doubt(d))
			if d.Firm() {
				remedy = words.Say("records_put_right", nil)
			}
		} else {
			told = append(told, k.place(d)+words.Doubt(d))
		}
	}
	if len(refused) > 0 {
		return errors.New(words.Say("records_refused", nil) + "\n" + strings.Join(refused, "\n") + "\n" + remedy)
	}
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	if k.Only {
		if err := alreadyThere(cmd, a, words, &k.List[0]); err != nil {
			return err
		}
	}
	puts, err := a.PutVisits(cmd.Context(), k.List, Author(), g.Clock())
	if err != nil {
		return err
	}
	count := map[archive.Outcome]int{}
	var b strings.Builder
	for i := range puts {
		p := &puts[i]
		count[p.Outcome]++
		if p.Outcome == archive.Corrected {
			before, after := differences(words, &p.Before, &p.Visit)
			say := words.Say("records_corrected", map[string]any{"Record": nameVisit(&p.Visit), "Before": before, "After": after})
			b.WriteString(k.file() + words.OnLine(p.Visit.Line, say) + "\n")
		}
	}
	for _, t := range told {
		b.WriteString(t + "\n")
	}
	if g.JSON {
		return WriteJSON(cmd.OutOrStdout(), map[string]any{"added": count[archive.Added], "same": count[archive.Same], "corrected": count[archive.Corrected], "brought_back": count[archive.BroughtBack],
			"told": append([]string{}, told...), "not_read": append([]string{}, k.NotRead...)})
	}
	if len(k.NotRead) > 0 {
		b.WriteString(k.file() + words.Say("records_not_read", map[string]any{"Columns": strings.Join(k.NotRead, ", ")}) + "\n")
	}
	b.WriteString(words.Counts(count[archive.Added], count[archive.BroughtBack], count[archive.Same], count[archive.Corrected]) + "\n")
	return Print(cmd.OutOrStdout(), b.String())
}

// file is how lines about a file begin.
func (k *Visits) file() string {
	if k.Name == "" {
		return ""
	}
	return k.Name + ": "
}

// place is where something doubted stands: the file, or the option that said it.
func (k *Visits) place(d *records.Doubt) string {
	if k.Name != "" {
		return k.file()
	}
	option := map[records.Kind]string{records.Future: "--when", records.TooMuch: "--volume", records.TooMuchATap: "--volume", records.ALittleMore: "--volume",
		records.TooSweet: "--brix", records.UnknownGroup: "--group", records.NoGroup: "--group"}[d.Kind]
	if option == "" {
		return ""
	}
	return option + ": "
}

// alreadyThere refuses a visit that would replace what somebody wrote for the same
// group and moment.
func alreadyThere(cmd *cobra.Command, a *archive.Archive, words *message.Words, v *records.Visit) error {
	list, err := a.Visits(cmd.Context(), v.Site, v.CollectedAt.Add(-time.Second), v.CollectedAt.Location())
	if err != nil {
		return err
	}
	for i := range list {
		is := &list[i].Visit
		if is.Group != v.Group || !is.CollectedAt.Equal(v.CollectedAt) || is.DateOnly != v.DateOnly {
			continue
		}
		if before, after := differences(words, is, v); before != after {
			return errors.New(words.Say("records_already", map[string]any{"Record": DescribeVisit(words, is)}))
		}
	}
	return nil
}

// nameVisit is a visit by group and moment.
func nameVisit(v *records.Visit) string {
	if v.DateOnly {
		return v.Group + " " + v.CollectedAt.Format(time.DateOnly)
	}
	return v.Group + " " + v.CollectedAt.Format(ToTheMinute)
}

// figures are what a visit says: volume, sugar, taps and note.
func figures(words *message.Words, v *records.Visit) [4]string {
	out := [4]string{words.Say("records_nothing", nil), words.Say("records_brix_none", nil), words.Say("records_taps_none", nil), words.Say("records_note_none", nil)}
	if v.Collected() {
		n, unit := words.FineVolume(v.VolumeL)
		out[0] = n + " " + unit
	}
	if !math.IsNaN(v.BrixPct) {
		out[1] = words.Share(v.BrixPct) + "\u00a0%"
	}
	if v.Taps > 0 {
		out[2] = words.Plural("rounds_taps", v.Taps)
	}
	if v.Note != "" {
		out[3] = words.Note(v.Note)
	}
	return out
}

// DescribeVisit is a visit with what it says.
func DescribeVisit(words *message.Words, v *records.Visit) string {
	says := []string{nameVisit(v)}
	all := figures(words, v)
	says = append(says, all[0])
	if !math.IsNaN(v.BrixPct) {
		says = append(says, all[1])
	}
	if v.Note != "" {
		says = append(says, all[3])
	}
	return strings.Join(says, ", ")
}

// differences are what two visits say where they differ.
func differences(words *message.Words, before, after *records.Visit) (was, is string) {
	b, a := figures(words, before), figures(words, after)
	var from, to []string
	for i := range b {
		if a[i] != b[i] {
			from, to = append(from, b[i]), append(to, a[i])
		}
	}
	if len(from) == 0 { // less than is said
		from, to = slices.Clone(b[:1]), slices.Clone(a[:1])
	}
	return strings.Join(from, ", "), strings.Join(to, ", ")
}

// ChangeRecord takes a record out or gives it back, and names it.
func ChangeRecord(cmd *cobra.Command, g *Globals, c *config.Config, a *archive.Archive, verb, id string) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	if verb == "remove" {
		err = a.Remove(cmd.Context(), id, archive.Any, Author(), g.Clock())
	} else {
		err = a.Undo(cmd.Context(), id, Author(), g.Clock())
	}
	var is archive.Stored
	if err == nil {
		is, err = a.Visit(cmd.Context(), id, time.UTC)
	}
	if err != nil {
		return fmt.Errorf("%s %s: %w; thawline records list shows the ids", verb, id, err)
	}
	for i := range c.Sites {
		if c.Sites[i].ID == is.Site {
			is.CollectedAt = is.CollectedAt.In(c.Sites[i].Zone)
		}
	}
	key := "records_undone"
	switch {
	case verb == "remove":
		key = "records_removed"
	case is.Removed:
		key = "records_undone_removed"
	}
	return Print(cmd.OutOrStdout(), words.Say(key, map[string]any{"Record": DescribeVisit(words, &is.Visit), "ID": id})+"\n")
}

// holdsOf tells what a site's groups can hold.
func holdsOf(s *forecast.Site) func(v *records.Visit) records.Holds {
	return func(v *records.Visit) records.Holds {
		for i := range s.Groups {
			g := &s.Groups[i]
			if g.ID != v.Group && (v.Group != "" || len(s.Groups) != 1) {
				continue
			}
			h := records.Holds{Taps: g.Taps, CapacityL: g.ContainerL * float64(g.Taps)}
			for _, t := range s.Tanks {
				if t.ID == g.TankID {
					h.CapacityL = t.VolumeL
				}
			}
			return h
		}
		return records.Holds{}
	}
}
