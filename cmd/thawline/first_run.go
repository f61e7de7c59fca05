package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/netip"
	"os"
	"sync"
	"time"

	"thawline/cmd/thawline/internal/web"
	"thawline/config"
)

// firstRun shows the questions of init on a page, on this machine alone, until the
// settings file that was named and is not there has been written.
func firstRun(ctx context.Context, g *globals) error {
	c, err := config.Load("", os.Environ())
	if err != nil {
		return err
	}
	if err := g.override(c); err != nil {
		return err
	}
	host, _, err := net.SplitHostPort(c.Serve.Listen)
	if ip, parsed := netip.ParseAddr(host); err != nil || parsed != nil || !ip.IsLoopback() {
		return &wrongUse{"there is no " + g.configFile + " yet, and " + c.Serve.Listen + " is open to others: write it with thawline init"}
	}
	listener, err := net.Listen("tcp", c.Serve.Listen)
	if err != nil {
		return fmt.Errorf("serve.listen: %w; choose another address or end the program that has it", err)
	}
	f := &firstPage{g: g, c: c, written: make(chan struct{})}
	server := &http.Server{Handler: f.guarded(), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second, WriteTimeout: 2 * time.Minute}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	g.log.Warn("there are no settings yet: open the page and answer a few questions", "page", "http://"+listener.Addr().String()+"/", "writes", g.configFile)
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
		err = ctx.Err()
	case <-f.written:
	}
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	return errors.Join(err, server.Shutdown(stopping))
}

// noSettingsYet reports whether a settings file is named that is not there.
func noSettingsYet(g *globals) bool {
	if g.configFile == "" {
		return false
	}
	_, err := os.Stat(g.configFile)
	return errors.Is(err, fs.ErrNotExist)
}

type firstPage struct {
	g       *globals
	c       *config.Config
	mu      sync.Mutex // one form at a time
	done    bool
	written chan struct{}
}

// guarded answers this machine only, under its own names, and no form of another
// site.
func (f *firstPage) guarded() http.Handler {
	return http.NewCrossOriginProtection().Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if name, _, err := net.SplitHostPort(host); err == nil {
			host = name
		}
		if host != "localhost" && host != "127.0.0.1" && host != "::1" || r.Header.Get("X-Forwarded-For") != "" {
			http.Error(w, "this page is for this machine alone", http.StatusForbidden)
			return
		}
		f.serve(w, r)
	}))
}

func (f *firstPage) serve(w http.ResponseWriter, r *http.Request) {
	words, err := newWords(f.c)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	page := &web.First{Words: words, Language: f.c.Language}
	b := newBegun()
	b.language = f.c.Language
	questions := b.questions(f.c, words)
	answers := r.Method == http.MethodPost && r.URL.Path == "/"
	if answers {
		r.Body = http.MaxBytesReader(w, r.Body, 64<<10)
	}
	good := answers
	for i := range questions {
		q := &questions[i]
		field := web.FirstField{Name: q.key, Label: words.Say(q.key, nil), Value: q.usual()}
		for _, o := range q.options {
			field.Options = append(field.Options, web.FirstOption{Value: o, Text: optionWord(words, o)})
		}
		if answers {
			field.Value = r.PostFormValue(q.key)
			if q.asked() {
				if err := q.answer(words, field.Value); err != nil {
					field.Wrong, good = wrongAnswer(words, q.key, err), false
				}
			}
		}
		page.Fields = append(page.Fields, field)
	}
	if good {
		page.Done = f.write(b, words.Say)
		if page.Done == "" {
			http.Error(w, "the settings could not be written; see the log", http.StatusInternalServerError)
			return
		}
	}
	page.ServeHTTP(w, r)
	if good {
		f.mu.Lock()
		defer f.mu.Unlock()
		if !f.done {
			f.done = true
			close(f.written)
		}
	}
}

// write puts the answers into the file that was named; what it says comes back, ""
// if it could not.
func (f *firstPage) write(b *begun, say func(string, map[string]any) string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	words, err := newWords(f.c)
	if err == nil && !f.done {
		err = b.write(f.g.configFile, words)
	}
	if err != nil {
		f.g.log.Error("the settings were not written", "error", err)
		return ""
	}
	if b.tell == "ntfy" {
		return say("init_page_done", map[string]any{"File": f.g.configFile, "Topic": b.topic})
	}
	return say("init_page_done_plain", map[string]any{"File": f.g.configFile})
}
