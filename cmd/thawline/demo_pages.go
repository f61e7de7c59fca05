package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"thawline/alerts/message"
	"thawline/config"
	"thawline/forecast/archive"
	"thawline/testdata"
)

// showPages serves the demonstration's pages until the context ends. What is
// entered there is forgotten afterwards.
func showPages(ctx context.Context, g *globals, settings *config.Config, address string) error {
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
	h, a, err := demoHouse(ctx, g, settings, dir, demoDays)
	if err != nil {
		return err
	}
	defer a.Close()
	if err := h.sayCode(ctx, g); err != nil {
		return err
	}
	g.log.Info("pages of the demonstration", "address", "http://"+settings.Serve.Listen+"/")
	return h.serve(ctx, listener, func(ctx context.Context, failed <-chan error) error {
		select {
		case err := <-failed:
			return err
		case <-ctx.Done():
			return nil
		}
	})
}

// demoHouse is the daemon of the demonstration, after some days of its season.
func demoHouse(ctx context.Context, g *globals, settings *config.Config, dir string, days int) (*house, *archive.Archive, error) {
	now := testdata.Now()
	if g.now != "" {
		now = g.clock()
	}
	a, err := archive.Open(ctx, filepath.Join(dir, archiveName))
	if err != nil {
		return nil, nil, err
	}
	began := time.Now()
	h := newHouse(g, a, func() time.Time { return now.Add(time.Since(began)) })
	site := settings.Sites[0]
	catalogue, err := message.LoadCatalogue(settings.Words...)
	if err == nil {
		err = fillDemo(ctx, a, &site, now)
	}
	if err == nil {
		h.use(settings, catalogue)
		err = replayDemo(ctx, h.daemon, g, settings, now, days)
	}
	if err != nil {
		a.Close()
		return nil, nil, err
	}
	return h, a, nil
}
