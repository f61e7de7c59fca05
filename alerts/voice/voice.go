// Package voice makes sound of spoken texts: of phrases that people recorded, or by a
// command that speaks.
package voice

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"

	"thawline/alerts/message"
)

// Options say where recordings lie and what speaks where they do not do.
type Options struct {
	// Recordings is a folder with one folder a language, in each a file a phrase: spaces
	// as dashes, such as en/sap-will-run-tomorrow.wav. "" for none.
	Recordings string
	// Command speaks what it reads into a file: {language} and {file} are filled in, such
	// as espeak-ng -v {language} -w {file} --stdin. It is run without a shell. "" for none.
	Command string
}

// ErrNone says that there is neither a recording of all phrases nor a command.
var ErrNone = errors.New("no voice: neither are all phrases recorded nor does a command speak (settings voice.recordings and voice.command)")

const (
	speakDeadline = 20 * time.Second
	pause         = 120 * time.Millisecond // between phrases
	longestFile   = 10 << 20
)

// FileName is that of a phrase's recording.
func FileName(phrase string) string { return strings.ReplaceAll(phrase, " ", "-") + ".wav" }

// Missing are the phrases of a language that nobody has recorded yet.
func (o *Options) Missing(language string, phrases []string) (out []string) {
	for _, p := range phrases {
		if !o.recorded(language, p) {
			out = append(out, p)
		}
	}
	return out
}

func (o *Options) recorded(language, phrase string) bool {
	info, err := os.Stat(filepath.Join(o.Recordings, language, FileName(phrase)))
	return o.Recordings != "" && err == nil && info.Mode().IsRegular() && info.Size() <= longestFile
}

// Speak writes a spoken text as a WAV file: in one person's voice where all of it is
// recorded, else all of it by the command.
func (o *Options) Speak(ctx context.Context, language, text, file string) error {
	phrases, missing := message.Spliced(text, func(p string) bool { return o.recorded(language, p) })
	if len(missing) == 0 && len(phrases) > 0 {
		err := o.join(language, phrases, file)
		if err == nil || o.Command == "" {
			return err
		}
	}
	if o.Command == "" {
		return ErrNone
	}
	ctx, cancel := context.WithTimeout(ctx, speakDeadline)
	defer cancel()
	var args []string
	for _, word := range strings.Fields(o.Command) {
		args = append(args, strings.NewReplacer("{language}", language, "{file}", file).Replace(word))
	}
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	cmd.Stdin = strings.NewReader(text)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("speech command %s: %w: %.200s", args[0], err, out)
	}
	return nil
}

// join writes recordings one after the other, with a short pause between.
func (o *Options) join(language string, phrases []string, file string) error {
	var all *audio.IntBuffer
	first := ""
	for _, p := range phrases {
		name := filepath.Join(o.Recordings, language, FileName(p))
		one, err := read(name)
		if err != nil {
			return err
		}
		if all == nil {
			all, first = one, name
			continue
		}
		if *one.Format != *all.Format || one.SourceBitDepth != all.SourceBitDepth {
			return fmt.Errorf("%s has another sample rate, depth or number of channels than %s: record all alike", name, first)
		}
		silence := int(pause.Seconds()*float64(all.Format.SampleRate)) * all.Format.NumChannels
		all.Data = append(append(all.Data, make([]int, silence)...), one.Data...)
	}
	out, err := os.OpenFile(file, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o644)
	if err != nil {
		return fmt.Errorf("voice: %w", err)
	}
	encoder := wav.NewEncoder(out, all.Format.SampleRate, all.SourceBitDepth, all.Format.NumChannels, 1)
	if err := errors.Join(encoder.Write(all), encoder.Close(), out.Close()); err != nil {
		return fmt.Errorf("voice: %w", err)
	}
	return nil
}

func read(name string) (*audio.IntBuffer, error) {
	in, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	defer in.Close()
	decoder := wav.NewDecoder(in)
	if !decoder.IsValidFile() {
		return nil, fmt.Errorf("%s: not a WAV file; save recordings as WAV, 16 bits", name)
	}
	buffer, err := decoder.FullPCMBuffer()
	if err != nil || len(buffer.Data) == 0 {
		return nil, fmt.Errorf("%s: no sound in it: %w", name, errors.Join(err))
	}
	buffer.SourceBitDepth = int(decoder.BitDepth)
	return buffer, nil
}
