package app

import (
	"context"
	"path/filepath"

	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
	"thawline/forecast/archive"
)

// WithMembers are settings with the bushes and people that the database keeps: the one
// place where those become sites and people. It returns settings as they are where the
// database keeps nobody.
func WithMembers(ctx context.Context, c *config.Config, store *members.Store) (*config.Config, error) {
	if store == nil {
		return c, nil
	}
	all, err := store.All(ctx)
	if err != nil {
		return nil, err
	}
	described := make([]config.Described, len(all))
	for i := range all {
		described[i] = all[i].Described
	}
	whole := *c
	whole.Add(described)
	return &whole, nil
}

// OpenDesk is the office on an archive, nil where the settings have no key for members.
func OpenDesk(c *config.Config, a *archive.Archive, l *ledger.Ledger, service *auth.Service, base func() *config.Config) (*members.Desk,
	error) {
	store, err := members.New(a.DB(), c.MembersKey)
	if err != nil || store == nil {
		return nil, err
	}
	words := func() (*message.Catalogue, error) { return message.LoadCatalogue(base().Words...) }
	return &members.Desk{Store: store, Archive: a, Ledger: l, Auth: service, Base: base, Catalogue: words,
		LastForecasts: filepath.Join(c.DataDir, lastForecasts), Answers: filepath.Join(c.DataDir, weatherAnswers)}, nil
}

// store is that of the desk, nil where there is none.
func (a *App) store() *members.Store {
	if a.Desk == nil {
		return nil
	}
	return a.Desk.Store
}

// openDesk opens the desk on the first settings, which hold nobody of the database yet,
// and returns them with everybody.
func (a *App) openDesk(ctx context.Context, c *config.Config) (*config.Config, error) {
	a.takeBase(c)
	desk, err := OpenDesk(c, a.Archive, a.Daemon.Ledger, a.Auth, a.baseNow)
	if err != nil {
		return nil, err
	}
	a.Desk, a.Pages.Desk = desk, desk
	return a.joined(ctx, c)
}

// joined are settings with everybody whom the database keeps now.
func (a *App) joined(ctx context.Context, c *config.Config) (*config.Config, error) {
	if a.Desk == nil {
		return c, nil
	}
	whole, number, err := a.Desk.Joined(ctx, c)
	if err != nil {
		return nil, err
	}
	a.members = number
	return whole, nil
}

// membersChanged reports whether somebody, here or beside, has changed members.
func (a *App) membersChanged(ctx context.Context) bool {
	if a.Desk == nil {
		return false
	}
	number, err := a.Desk.Number(ctx)
	return err == nil && number != a.members
}

func (a *App) takeBase(c *config.Config) {
	a.baseMu.Lock()
	defer a.baseMu.Unlock()
	a.base = c
}

func (a *App) baseNow() *config.Config {
	a.baseMu.Lock()
	defer a.baseMu.Unlock()
	return a.base
}

// heardOf gives the members' own changes something to be heard by; it never does where
// there are none.
func (a *App) heardOf() <-chan struct{} {
	if s := a.store(); s != nil {
		return s.Changed()
	}
	return nil
}

// office is what the desk shows beside members.
type office struct {
	*daemon.Daemon
	*ledger.Ledger
	*archive.Archive
}
