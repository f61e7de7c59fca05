package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/web"
	"thawline/config"
	"thawline/forecast"
)

// showPages serves the demonstration's pages until the context ends.
func showPages(ctx context.Context, log *slog.Logger, settings *config.Config, o *forecast.Outlook, address string) error {
	pages := &web.Pages{Outlooks: func() []*forecast.Outlook { return []*forecast.Outlook{o} }, Log: log}
	pages.Use(message.Reader{Language: settings.Language, Units: settings.Units})
	mux := http.NewServeMux()
	pages.Register(mux)
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("--serve: %w; choose another address", err)
	}
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 10 * time.Second}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	log.Info("pages of the demonstration", "address", "http://"+listener.Addr().String()+"/")
	select {
	case err := <-ended:
		return fmt.Errorf("pages: %w", err)
	case <-ctx.Done():
	}
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if err := server.Shutdown(stopping); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("pages: %w", err)
	}
	return nil
}
