package setup

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/netip"
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/text/language"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/web"
	"thawline/config"
)

// ServeQuestions shows the questions of init on a page, on this machine alone, until the
// settings file that was named and is not there has been written; written is false
// where somebody ended it before.
func ServeQuestions(ctx context.Context, g *cli.Globals) (written bool, err error) {
	c, err := config.Load("", os.Environ())
	if err != nil {
		return false, err
	}
	if err := g.Override(c); err != nil {
		return false, err
	}
	host, _, err := net.SplitHostPort(c.Serve.Listen)
	if ip, parsed := netip.ParseAddr(host); err != nil || parsed != nil || !ip.IsLoopback() {
		return false, cli.WrongUse("there is no " + g.ConfigFile + " yet, and " + c.Serve.Listen +
			" is open to others: write it with thawline init")
	}
	listener, err := net.Listen("tcp", c.Serve.Listen)
	if err != nil {
		return false, fmt.Errorf("serve.listen: %w; choose another address or end the program that has it", err)
	}
	if key := whyNotWritten(g.ConfigFile); key != "" {
		words, err := app.Words(c)
		if err == nil {
			err = errors.New(words.Say(key, map[string]any{"File": g.ConfigFile}))
		}
		return false, errors.Join(err, listener.Close())
	}
	f := &firstPage{g: g, c: c, written: make(chan struct{})}
	server := &http.Server{Handler: f.guarded(), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: 2 * time.Minute}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	g.Log.Warn("there are no settings yet: open the page and answer a few questions", "page", "http://"+listener.Addr().String()+"/",
		"writes", g.ConfigFile)
	select {
	case err := <-failed:
		return false, err
	case <-ctx.Done():
	case <-f.written:
		written = true
	}
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	return written, server.Shutdown(stopping)
}

// NoSettingsYet reports whether a settings file is named that is not there.
func NoSettingsYet(g *cli.Globals) bool {
	if g.ConfigFile == "" {
		return false
	}
	_, err := os.Stat(g.ConfigFile)
	return errors.Is(err, fs.ErrNotExist)
}

type firstPage struct {
	g       *cli.Globals
	c       *config.Config
	mu      sync.Mutex // one form at a time
	done    bool
	doubted string // the place that was asked back about
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

// reader reads the page in the browser's language, where the command line names
// none.
func (f *firstPage) reader(r *http.Request) *config.Config {
	c := *f.c
	if f.g.Language != "" {
		return &c
	}
	asked, _, err := language.ParseAcceptLanguage(r.Header.Get("Accept-Language"))
	if err != nil {
		return &c
	}
	for _, tag := range asked {
		if found := config.MatchLanguage(tag.String(), c.Languages); found != "" {
			c.Language = found
			break
		}
	}
	return &c
}

func (f *firstPage) serve(w http.ResponseWriter, r *http.Request) {
	f.mu.Lock()
	defer f.mu.Unlock()
	c := f.reader(r)
	words, err := app.Words(c)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	page := &web.First{Words: words, Language: c.Language}
	b := newAnswers()
	b.language, b.doubted = c.Language, f.doubted
	questions := b.questions(c, words)
	answers := r.Method == http.MethodPost && r.URL.Path == "/"
	if answers {
		r.Body = http.MaxBytesReader(w, r.Body, 64<<10)
	}
	good := answers
	for i := range questions {
		q := &questions[i]
		field := web.FirstField{Name: q.key, Label: words.Say(q.key, nil), Value: q.usual(), Later: q.later}
		if q.key == "init_units" { // known once the place is
			field.Value = ""
			field.Options = append(field.Options, web.FirstOption{Text: words.Say("init_page_usual_units", nil)})
		}
		for _, o := range q.options {
			field.Options = append(field.Options, web.FirstOption{Value: o, Text: optionWord(words, o)})
		}
		if answers {
			field.Value = r.PostFormValue(q.key)
			answer := strings.TrimSpace(field.Value)
			if answer == "" {
				answer = q.usual()
			}
			if answer == "" && q.assumed != nil && q.asked() {
				answer = q.assumed()
				b.assumed[q.key] = true
			}
			if q.asked() {
				if err := q.answer(answer); err != nil {
					field.Wrong, good = wrongAnswer(words, q, answer, err), false
				}
			}
		}
		page.Fields = append(page.Fields, field)
	}
	f.doubted = b.doubted
	if good {
		page.Done = f.write(r.Context(), b, words)
		if page.Done == "" {
			http.Error(w, "the settings could not be written; see the log", http.StatusInternalServerError)
			return
		}
	}
	page.ServeHTTP(w, r)
	if good && !f.done {
		f.done = true
		close(f.written)
	}
}

// pageWaits is how long somebody waits for the height on a page.
const pageWaits = 20 * time.Second

// write puts the answers into the file that was named; what it says comes back, ""
// if it could not.
func (f *firstPage) write(ctx context.Context, b *answers, words *message.Words) string {
	if !f.done {
		ctx, cancel := context.WithTimeout(ctx, pageWaits)
		defer cancel()
		if _, err := b.askHeight(ctx, f.g.Env(), f.c); err != nil {
			f.g.Log.Warn("no weather service told the height; it can be written into the settings", "error", err)
		}
		if err := b.write(f.g.ConfigFile, words); err != nil {
			f.g.Log.Error("the settings were not written", "error", err)
			return ""
		}
	}
	key := "init_page_done_plain"
	if b.tell == "ntfy" {
		key = "init_page_done"
	}
	return words.Say(key, map[string]any{"File": f.g.ConfigFile, "Topic": b.topic})
}
