package setup

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/google/renameio/v2"

	"thawline/alerts/message"
)

// kept is the answers of a try that ended too soon, by question, in a file beside the
// one to be written. Secrets are not among them.
type kept struct {
	Answers map[string]string `json:"answers"`
	file    string
}

// keptFor are the answers that were kept for a settings file.
func keptFor(settings string) *kept {
	k := &kept{Answers: map[string]string{}, file: settings + ".answers"}
	data, err := os.ReadFile(k.file)
	if err != nil || json.Unmarshal(data, k) != nil || k.Answers == nil {
		k.Answers = map[string]string{}
	}
	return k
}

// put keeps one more answer.
func (k *kept) put(one *question, answer string) error {
	if one.secret {
		return nil
	}
	k.Answers[one.key] = answer
	data, err := json.MarshalIndent(k, "", "  ")
	if err == nil {
		err = renameio.WriteFile(k.file, append(data, '\n'), 0o600)
	}
	if err != nil {
		return fmt.Errorf("keep the answers: %w", err)
	}
	return nil
}

// remark says how to go on, where there is something to go on from.
func (k *kept) remark(w *message.Words) string {
	if len(k.Answers) == 0 {
		return ""
	}
	return " " + w.Say("init_resume", nil)
}

// remove is for when the settings are written.
func (k *kept) remove() error {
	if err := os.Remove(k.file); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("remove the kept answers: %w", err)
	}
	return nil
}

// resume takes the kept answers as if they were given again; the first that does not
// fit any more is asked, and those after it that depend on it.
func (k *kept) resume(list []question) {
	for i := range list {
		one := &list[i]
		answer, there := k.Answers[one.key]
		if !there || !one.asked() {
			continue
		}
		err := one.answer(answer)
		var d *doubt
		if errors.As(err, &d) { // it was meant
			err = one.answer(answer)
		}
		one.done = err == nil
	}
}
