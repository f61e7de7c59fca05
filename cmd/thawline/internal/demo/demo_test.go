package demo

import (
	"log/slog"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/testdata"
)

// The command and the pages of the demonstration tell of one evening alike: they know the
// same springs, people and records.
func TestCommandAndPagesSayTheSame(t *testing.T) {
	settings, err := Settings()
	if err != nil {
		t.Fatal(err)
	}
	env := app.Env{Log: slog.New(slog.DiscardHandler), Clock: testdata.Now}
	command, err := Outlook(t.Context(), env, settings)
	if err != nil {
		t.Fatal(err)
	}
	program, err := New(t.Context(), env, settings, t.TempDir(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer program.Archive.Close()
	pages := program.Daemon.Outlook(t.Context(), settings.Sites[0].ID)
	words, err := app.Words(settings)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := words.Evening(&command), words.Evening(pages); a != b {
		t.Errorf("the command says %q, the pages %q", a, b)
	}
	kept := cmpopts.EquateApprox(1e-3, 1) // digits that an archive keeps of weather
	for _, c := range []struct{ what, d string }{
		{"days", cmp.Diff(command.Days, pages.Days, kept)}, {"work", cmp.Diff(command.Work, pages.Work, kept)},
		{"offset", cmp.Diff(command.Offset, pages.Offset)},
		{"season", cmp.Diff(command.Season, pages.Season, kept)}, {"earlier seasons", cmp.Diff(command.Earlier, pages.Earlier)},
	} {
		if c.d != "" {
			t.Errorf("%s of the command and of the pages:\n%s", c.what, c.d)
		}
	}
	site := settings.Sites[0]
	visits, err := Visits(&site)
	if err != nil {
		t.Fatal(err)
	}
	now := testdata.Now()
	known, err := taught(&site, visits, now)
	if err != nil {
		t.Fatal(err)
	}
	again, err := daemon.Taught(t.Context(), program.Archive, &site, app.PlaceKey(&site), now) // worked out before
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(known.Ends, again.Ends, kept); d != "" || len(known.Ends) != 3 {
		t.Errorf("%d springs ended; what is kept of them:\n%s", len(known.Ends), d)
	}
}
