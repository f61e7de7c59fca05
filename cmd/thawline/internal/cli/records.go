package cli

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
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
	Correct  bool     // what is there of the same moment is wrong
}

// Writer is whoever works at this machine, as records name them: the machine's keeper.
func Writer() auth.Identity { return auth.Identity{Name: Author(), Role: auth.Keeper} }

// KeepVisits gives visits of a site to the intake, and tells what became of them.
func KeepVisits(cmd *cobra.Command, g *Globals, settings *config.Config, site *forecast.Site, k Visits) error {
	words, err := app.Words(settings)
	if err != nil {
		return err
	}
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	e := intake.Entry{Site: site, Visits: k.List, Way: intake.Command, From: Writer(), Doubtful: k.Doubtful, Correct: k.Correct,
		Words: words}
	if k.Name != "" {
		e.Way = intake.Import
	}
	r, err := intake.Service{Archive: a}.Take(cmd.Context(), e, g.Clock())
	if err != nil {
		return err
	}
	if r.Refused {
		return k.refusal(&r, words)
	}
	if g.JSON {
		n := r.Outcomes()
		return WriteJSON(cmd.OutOrStdout(),
			map[string]any{"added": n[intake.Written] + n[intake.Load], "loads": n[intake.Load], "same": n[intake.Same],
				"corrected": n[intake.Corrected], "brought_back": n[intake.BroughtBack],
				"told": append([]string{}, r.Told(words)...), "not_read": append([]string{}, k.NotRead...)})
	}
	if k.Name == "" {
		return Print(cmd.OutOrStdout(), r.Say(words)+"\n")
	}
	var b strings.Builder
	for _, t := range r.Told(words) {
		b.WriteString(k.Name + ": " + t + "\n")
	}
	if len(k.NotRead) > 0 {
		b.WriteString(k.Name + ": " + words.Say("records_not_read", map[string]any{"Columns": strings.Join(k.NotRead, ", ")}) + "\n")
	}
	b.WriteString(r.Counts(words) + "\n")
	return Print(cmd.OutOrStdout(), b.String())
}

// refusal says why nothing was kept, each fault after the option or the file that it
// stands in, and what can be done.
func (k *Visits) refusal(r *intake.Result, words *message.Words) error {
	lines, more := []string{words.Say("records_refused", nil)}, 0
	for i := range r.Records {
		for d := range r.Records[i].Doubts {
			if doubt := &r.Records[i].Doubts[d]; doubt.Refusal {
				if len(lines) <= intake.MostSaid {
					lines = append(lines, k.place(doubt.Kind)+words.Doubt(doubt))
				} else {
					more++
				}
			}
		}
	}
	if more > 0 {
		lines = append(lines, words.Say("intake_more", map[string]any{"Count": more}))
	}
	remedy := "records_put_right_or_keep"
	if r.Blocking {
		remedy = "records_put_right"
	}
	return errors.New(strings.Join(append(lines, words.Say(remedy, nil)), "\n"))
}

// place is where something doubted stands: the file, or the option that said it.
func (k *Visits) place(kind records.Kind) string {
	if k.Name != "" {
		return k.Name + ": "
	}
	option := map[records.Kind]string{records.Future: "--when", records.TooMuch: "--volume", records.TooMuchATap: "--volume",
		records.BelowZero: "--volume", records.WhichIsIt: "--volume",
		records.TooSweet: "--brix", records.SugarBelowZero: "--brix", records.UnknownGroup: "--group", records.NoGroup: "--group",
		records.LongNote: "--note"}[kind]
	if option == "" {
		return ""
	}
	return option + ": "
}

// ChangeRecord takes a record out or gives it back, and names it.
func ChangeRecord(cmd *cobra.Command, g *Globals, c *config.Config, a *archive.Archive, verb, id string) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	if id, err = wholeID(cmd, a, id); err != nil {
		return err
	}
	if verb == "remove" {
		err = a.Remove(cmd.Context(), id, archive.Any, Author(), g.Clock())
	} else {
		err = a.Undo(cmd.Context(), id, Author(), g.Clock())
	}
	if errors.Is(err, archive.ErrNoVisit) {
		if said, known := changeTap(cmd, g, c, a, words, verb, id); known {
			return Print(cmd.OutOrStdout(), said+"\n")
		}
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
	return Print(cmd.OutOrStdout(), words.Say(key, map[string]any{"Record": intake.Describe(words, &is.Visit), "ID": ShortID(id)})+"\n")
}

// ShortID is how much of an id lists show: its end, since ids begin with their time.
func ShortID(id string) string { return id[max(len(id)-8, 0):] }

// wholeID is the id that ends so, as lists show it; where none does, what was given.
func wholeID(cmd *cobra.Command, a *archive.Archive, end string) (string, error) {
	ids, err := a.IDsEnding(cmd.Context(), strings.ToLower(end))
	switch {
	case err != nil:
		return "", err
	case len(ids) == 1:
		return ids[0], nil
	case len(ids) > 1:
		return "", WrongUse(end + ": several records end so; write more of the id: " + strings.Join(ids, ", "))
	}
	return end, nil
}

// changeTap takes a record of taps out or undoes its last change, and names it; false
// where there is none such.
func changeTap(cmd *cobra.Command, g *Globals, c *config.Config, a *archive.Archive, words *message.Words, verb,
	id string) (said string, known bool) {
	change := a.UndoTap
	if verb == "remove" {
		change = a.RemoveTap
	}
	if err := change(cmd.Context(), id, Author(), g.Clock()); err != nil {
		return "", false
	}
	is, err := a.TapEvent(cmd.Context(), id, time.UTC)
	if err != nil {
		return "", false
	}
	for i := range c.Sites {
		if c.Sites[i].ID == is.Site {
			is.On = is.On.In(c.Sites[i].Zone)
		}
	}
	key := "records_undone"
	switch {
	case verb == "remove":
		key = "records_removed"
	case is.Removed:
		key = "records_undone_removed"
	}
	record := words.Say("records_"+string(is.Kind), map[string]any{"Group": is.Group, "When": is.On.Format(time.DateOnly)})
	return words.Say(key, map[string]any{"Record": record, "ID": ShortID(id)}), true
}

// UndoLast takes back the last entry of whoever works at this machine.
func UndoLast(cmd *cobra.Command, g *Globals, c *config.Config, a *archive.Archive, site *forecast.Site) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	undone, err := intake.Service{Archive: a}.Undo(cmd.Context(), site, intake.Last, intake.Command, Writer(), g.Clock())
	if err != nil {
		return err
	}
	say := undone.Say(words, site)
	if undone.None {
		return errors.New(say)
	}
	return Print(cmd.OutOrStdout(), say+"\n")
}
