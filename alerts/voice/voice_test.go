package voice

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

// record writes a tone of so many samples as a recording.
func record(t *testing.T, folder, phrase string, rate, samples int) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(folder, "en"), 0o750); err != nil {
		t.Fatal(err)
	}
	out, err := os.Create(filepath.Join(folder, "en", FileName(phrase)))
	if err != nil {
		t.Fatal(err)
	}
	data := make([]int, samples)
	for i := range data {
		data[i] = 1000 * (i%2*2 - 1)
	}
	e := wav.NewEncoder(out, rate, 16, 1, 1)
	if err := errors.Join(e.Write(&audio.IntBuffer{Format: &audio.Format{NumChannels: 1, SampleRate: rate}, Data: data,
		SourceBitDepth: 16}), e.Close(), out.Close()); err != nil {
		t.Fatal(err)
	}
}

// An evening is put together from recordings where all of it is recorded; what was
// recorded differently is told, and a word that is missing leaves it to the command.
func TestSpeakFromRecordings(t *testing.T) {
	folder, file := t.TempDir(), filepath.Join(t.TempDir(), "evening.wav")
	record(t, folder, "sap will run tomorrow", 8000, 4000)
	record(t, folder, "about", 8000, 800)
	record(t, folder, "forty", 8000, 900)
	record(t, folder, "gallons", 8000, 700)
	o := &Options{Recordings: folder}
	if err := o.Speak(context.Background(), "en", "Sap will run tomorrow. About forty gallons.", file); err != nil {
		t.Fatal(err)
	}
	in, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	buffer, err := wav.NewDecoder(in).FullPCMBuffer()
	if err != nil || buffer.Format.SampleRate != 8000 || len(buffer.Data) != 4000+800+900+700+3*960 || buffer.Data[1] != 1000 {
		t.Errorf("%v %d samples", err, len(buffer.Data))
	}
	if err := o.Speak(context.Background(), "en", "Sap will run tomorrow. Maybe.", file); !errors.Is(err, ErrNone) {
		t.Errorf("a word that nobody recorded: %v", err)
	}
	if missing := o.Missing("en", []string{"about", "maybe", "../../etc"}); strings.Join(missing, " ") != "maybe ../../etc" {
		t.Errorf("%v", missing)
	}
	record(t, folder, "about", 16000, 800)
	if err := o.Speak(context.Background(), "en", "Sap will run tomorrow. About forty gallons.", file); err == nil ||
		!strings.Contains(err.Error(), "about.wav has another sample rate") {
		t.Errorf("%v", err)
	}
}

// A command speaks where recordings do not do; it gets the text, and what it complains of
// is told.
func TestSpeakByCommand(t *testing.T) {
	espeak, err := exec.LookPath("espeak-ng")
	if err != nil {
		t.Skip("espeak-ng is not installed: no command speaks")
	}
	file := filepath.Join(t.TempDir(), "evening.wav")
	o := &Options{Command: espeak + " -v {language} -w {file} --stdin"}
	for language, text := range map[string]string{"en": "Sap will run tomorrow. About forty gallons.", "fr": "Grosse coulée demain."} {
		if err := o.Speak(context.Background(), language, text, file); err != nil {
			t.Fatal(err)
		}
		in, err := os.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		d := wav.NewDecoder(in)
		length, err := d.Duration()
		if err != nil || length.Seconds() < 0.8 || length.Seconds() > 10 {
			t.Errorf("%s: %v %s", language, err, length)
		}
		_ = in.Close()
	}
	o.Command = espeak + " -v nobody-speaks-this -w {file} --stdin"
	if err := o.Speak(context.Background(), "en", "x", file); err == nil || !strings.Contains(err.Error(), "speech command") {
		t.Errorf("%v", err)
	}
}
