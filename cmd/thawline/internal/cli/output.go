package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// Tell prints a document or words, as asked for.
func (g *Globals) Tell(cmd *cobra.Command, document any, words string) error {
	if g.JSON {
		return WriteJSON(cmd.OutOrStdout(), document)
	}
	return Print(cmd.OutOrStdout(), words)
}

// WriteJSON writes one document, indented.
func WriteJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("write the JSON document: %w", err)
	}
	return nil
}

// Print writes a report that is already in words.
func Print(out io.Writer, text string) error {
	if _, err := io.WriteString(out, text); err != nil {
		return fmt.Errorf("print: %w", err)
	}
	return nil
}

// What turns a terminal's letters red, and plain again (ECMA-48, SGR).
const (
	Red   = "\x1b[1;31m"
	Plain = "\x1b[0m"
)

// Coloured reports whether colours are seen where a command writes: on a terminal whose
// owner has not said NO_COLOR.
func Coloured(out io.Writer) bool {
	f, ok := out.(*os.File)
	return ok && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && term.IsTerminal(int(f.Fd()))
}

// patience is how long something takes before a terminal shows that it goes on.
const patience = 2 * time.Second

// seen is the terminal that errors go to, nil where they go elsewhere.
func seen(cmd *cobra.Command) *os.File {
	f, ok := cmd.ErrOrStderr().(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	return f
}

// Progress shows on a terminal how far a run has come that takes longer than two seconds,
// and nothing elsewhere.
func Progress(cmd *cobra.Command, what string) (step func(done, of int), end func()) {
	f := seen(cmd)
	if f == nil {
		return nil, func() {}
	}
	begun := time.Now()
	var bar *progressbar.ProgressBar
	step = func(done, of int) {
		if time.Since(begun) < patience {
			return
		}
		if bar == nil {
			bar = progressbar.NewOptions(of, progressbar.OptionSetWriter(f),
				progressbar.OptionSetDescription(what), progressbar.OptionClearOnFinish())
		}
		_ = bar.Set(done) // a bar that can't be drawn is no reason to stop
	}
	return step, func() {
		if bar != nil {
			_ = bar.Finish()
		}
	}
}

// Busy shows on a terminal that something goes on of which nobody knows how long it takes,
// once it has taken two seconds; end takes it away.
func (g *Globals) Busy(cmd *cobra.Command, what string) (end func()) {
	f := seen(cmd)
	if f == nil {
		return func() {}
	}
	what = g.Words().Phrase(what)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		wait := time.NewTimer(patience)
		defer wait.Stop()
		var bar *progressbar.ProgressBar
		for {
			select {
			case <-stop:
				if bar != nil {
					_ = bar.Finish()
				}
				return
			case <-wait.C:
			}
			if bar == nil {
				bar = progressbar.NewOptions(-1, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
					progressbar.OptionClearOnFinish())
			}
			_ = bar.Add(1) // as above
			wait.Reset(100 * time.Millisecond)
		}
	}()
	return func() {
		close(stop)
		<-stopped
	}
}

// ChartFlag names the folder that pictures go to.
func ChartFlag(cmd *cobra.Command, dir *string) {
	cmd.Flags().StringVar(dir, "chart", "", "also write pictures (SVG) into `DIR`")
}

// WriteChart puts a picture into the folder, which it makes if need be.
func WriteChart(dir, name string, picture []byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("folder for charts: %w", err)
	}
	if err := os.WriteFile(filepath.Join(dir, name), picture, 0o644); err != nil {
		return fmt.Errorf("write the chart: %w", err)
	}
	return nil
}

// Bar is a share of twenty characters.
func Bar(share float64) string { return strings.Repeat("█", int(share*20+0.5)) }

// Pad fills a text with spaces to a width in characters.
func Pad(s string, width int) string {
	return s + strings.Repeat(" ", max(width-utf8.RuneCountInString(s), 0))
}

// Columns are rows in columns as wide as what is in them; the last is as it is.
func Columns(rows [][]string) string {
	var wide []int
	for _, row := range rows {
		for i, cell := range row {
			if i == len(wide) {
				wide = append(wide, 0)
			}
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	var b strings.Builder
	for _, row := range rows {
		line := ""
		for i, cell := range row {
			line += Pad(cell, wide[i]) + "  "
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	return b.String()
}

// Or is the text, or another where it is empty.
func Or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
