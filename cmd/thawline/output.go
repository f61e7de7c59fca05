package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// tell prints a document or words, as asked for.
func (g *globals) tell(cmd *cobra.Command, document any, words string) error {
	if g.json {
		return writeJSON(cmd.OutOrStdout(), document)
	}
	return printAll(cmd.OutOrStdout(), words)
}

func writeJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("write the JSON document: %w", err)
	}
	return nil
}

// printAll writes a report that is already in words.
func printAll(out io.Writer, text string) error {
	if _, err := io.WriteString(out, text); err != nil {
		return fmt.Errorf("print the backtest: %w", err)
	}
	return nil
}

// progress shows on a terminal how far a long run has come, and nothing
// elsewhere.
func progress(cmd *cobra.Command, what string) (step func(done, of int), end func()) {
	if f, ok := cmd.ErrOrStderr().(*os.File); !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, func() {}
	}
	var bar *progressbar.ProgressBar
	step = func(done, of int) {
		if bar == nil {
			bar = progressbar.NewOptions(of, progressbar.OptionSetWriter(cmd.ErrOrStderr()),
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

// chartFlag names the folder that pictures go to.
func chartFlag(cmd *cobra.Command, dir *string) {
	cmd.Flags().StringVar(dir, "chart", "", "write pictures (SVG) into `DIR` as well")
}

// writeChart puts a picture into the folder, which it makes if need be.
func writeChart(dir, name string, picture []byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("folder for charts: %w", err)
	}
	if err := os.WriteFile(filepath.Join(dir, name), picture, 0o644); err != nil {
		return fmt.Errorf("write the chart: %w", err)
	}
	return nil
}

// bar is a share of twenty characters.
func bar(share float64) string { return strings.Repeat("█", int(share*20+0.5)) }

// padded fills a text with spaces to a width in characters.
func padded(s string, width int) string {
	return s + strings.Repeat(" ", max(width-utf8.RuneCountInString(s), 0))
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
