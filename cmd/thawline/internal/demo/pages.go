package demo

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast/archive"
)

// ServePages serves the demonstration's pages until the context ends. What is
// entered there is forgotten afterwards.
func ServePages(ctx context.Context, env app.Env, settings *config.Config, address string) error {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("--serve: %w; choose another address", err)
	}
	dir, err := os.MkdirTemp("", "thawline-demo-")
	if err != nil {
		return fmt.Errorf("demonstration: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	settings.Serve.Listen = listener.Addr().String()
	a, err := New(ctx, env, settings, dir, Days)
	if err != nil {
		return err
	}
	defer a.Archive.Close()
	if err := a.SayCode(ctx); err != nil {
		return err
	}
	env.Log.Info("pages of the demonstration", "address", "http://"+settings.Serve.Listen+"/")
	return a.Serve(ctx, listener, func(ctx context.Context, failed <-chan error) error {
		defer a.Remake(ctx, nil)()
		select {
		case err := <-failed:
			return err
		case <-ctx.Done():
			return nil
		}
	})
}

// New is the program with the demonstration in it, after some days of its season.
func New(ctx context.Context, env app.Env, settings *config.Config, dir string, days int) (*app.App, error) {
	now := evening(env)
	a, err := archive.Open(ctx, filepath.Join(dir, app.ArchiveFile))
	if err != nil {
		return nil, err
	}
	began := time.Now()
	env.Clock = func() time.Time { return now.Add(time.Since(began)) }
	h := app.New(env, a)
	site := settings.Sites[0]
	catalogue, err := message.LoadCatalogue(settings.Words...)
	if err == nil {
		err = fill(ctx, a, &site, now)
	}
	if err == nil {
		h.SetSettings(settings, catalogue)
		err = replay(ctx, h.Daemon, env, settings, now, days)
	}
	if err != nil {
		a.Close()
		return nil, err
	}
	return h, nil
}
