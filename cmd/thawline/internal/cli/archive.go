package cli

import (
	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
	"thawline/forecast/archive"
)

// WithArchive opens the archive of the settings for one piece of work.
func WithArchive(cmd *cobra.Command, g *Globals, do func(*config.Config, *archive.Archive) error) error {
	settings, err := g.Settings()
	if err != nil {
		return err
	}
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	store, err := members.New(a.DB(), settings.MembersKey)
	if err != nil {
		return err
	}
	if settings, err = app.WithMembers(cmd.Context(), settings, store); err != nil {
		return err
	}
	return do(settings, a)
}
