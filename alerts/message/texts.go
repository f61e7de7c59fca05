package message

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"text/template/parse"

	"github.com/nicksnyder/go-i18n/v2/i18n"

	"thawline/forecast"
	"thawline/forecast/units"
)

// Texts are the texts of one language by their keys.
type Texts map[string]Text

// Text is one text; those that depend on a number have a form for each of the
// language's plurals (CLDR), others only Other.
type Text struct{ Zero, One, Two, Few, Many, Other string }

func (t Text) forms() map[string]string {
	out := map[string]string{}
	for name, text := range map[string]string{"zero": t.Zero, "one": t.One, "two": t.Two, "few": t.Few, "many": t.Many, "other": t.Other} {
		if text != "" {
			out[name] = text
		}
	}
	return out
}

// read takes a file in; an empty text counts as none.
func (t Texts) read(file string, data []byte) error {
	raw, err := decode(file, data)
	if err != nil {
		return err
	}
	for key, value := range raw {
		switch v := value.(type) {
		case string:
			if v != "" {
				t[key] = Text{Other: v}
			}
		case map[string]any:
			var text Text
			for form, one := range v {
				s, isText := one.(string)
				to := map[string]*string{"zero": &text.Zero, "one": &text.One, "two": &text.Two, "few": &text.Few, "many": &text.Many,
					"other": &text.Other}[form]
				if to == nil || !isText {
					return fmt.Errorf("%s: %s.%s: not a text; plurals are zero, one, two, few, many and other", file, key, form)
				}
				*to = s
			}
			if text != (Text{}) {
				t[key] = text
			}
		default:
			return fmt.Errorf("%s: %s: not a text; write it in quotes", file, key)
		}
	}
	return nil
}

func (t Texts) messages() []*i18n.Message {
	var out []*i18n.Message
	for key, text := range t {
		out = append(out, &i18n.Message{ID: key, Zero: text.Zero, One: text.One, Two: text.Two, Few: text.Few, Many: text.Many,
			Other: text.Other})
	}
	return out
}

// Lacking are the keys that English has and these texts have not, in order.
func (t Texts) Lacking(english Texts) []string {
	var out []string
	for _, key := range slices.Sorted(maps.Keys(english)) {
		if _, has := t[key]; !has {
			out = append(out, key)
		}
	}
	return out
}

// Check tells what is wrong with texts, by key: keys that nothing asks for, and
// placeholders that English does not have. A text is data, no program: only
// plain placeholders such as {{.Name}} are taken.
func (t Texts) Check(english Texts) []string {
	var faults []string
	known := slices.Sorted(maps.Keys(english))
	for _, key := range slices.Sorted(maps.Keys(t)) {
		in, found := english[key]
		if own, wrong := ofFiles(key, t[key].Other); own {
			if wrong != "" {
				faults = append(faults, key+": "+wrong)
			}
			continue
		}
		if !found {
			faults = append(faults, fmt.Sprintf("%s: nothing asks for this key; %s", key, units.Suggest(key, known, "take it out")))
			continue
		}
		allowed := map[string]bool{}
		for _, text := range in.forms() {
			names, _ := placeholders(text)
			for _, n := range names {
				allowed[n] = true
			}
		}
		for form, text := range t[key].forms() {
			names, err := placeholders(text)
			if err != nil {
				faults = append(faults, fmt.Sprintf("%s (%s): %v", key, form, err))
			}
			for _, n := range names {
				if !allowed[n] {
					faults = append(faults, fmt.Sprintf("%s (%s): {{.%s}} is not given here; there is %s", key, form, n, list(allowed)))
				}
			}
		}
		if t[key].Other == "" {
			faults = append(faults, key+": the form other is missing, which stands for all the rest")
		}
	}
	return faults
}

func list(names map[string]bool) string {
	if len(names) == 0 {
		return "nothing to fill in"
	}
	var out []string
	for _, n := range slices.Sorted(maps.Keys(names)) {
		out = append(out, "{{."+n+"}}")
	}
	return strings.Join(out, ", ")
}

// placeholders lists what a text asks to be filled in.
func placeholders(text string) ([]string, error) {
	trees, err := parse.Parse("text", text, "", "")
	if err != nil {
		return nil, fmt.Errorf("the braces do not close, or hold more than a name: %q", text)
	}
	tree := trees["text"]
	if tree == nil || len(trees) > 1 {
		return nil, fmt.Errorf("only plain placeholders such as {{.Name}} may stand in a text: %q", text)
	}
	var out []string
	for _, node := range tree.Root.Nodes {
		switch n := node.(type) {
		case *parse.TextNode:
		case *parse.ActionNode:
			name, plain := plainField(n)
			if !plain {
				return nil, fmt.Errorf("only plain placeholders such as {{.Name}} may stand in a text: %q", text)
			}
			out = append(out, name)
		default:
			return nil, fmt.Errorf("only plain placeholders such as {{.Name}} may stand in a text: %q", text)
		}
	}
	return out, nil
}

func plainField(n *parse.ActionNode) (name string, plain bool) {
	if len(n.Pipe.Decl) > 0 || len(n.Pipe.Cmds) != 1 || len(n.Pipe.Cmds[0].Args) != 1 {
		return "", false
	}
	f, is := n.Pipe.Cmds[0].Args[0].(*parse.FieldNode)
	if !is || len(f.Ident) != 1 {
		return "", false
	}
	return f.Ident[0], true
}

// CalendarDay is a day's run as a calendar shows it, by the words of the evening text:
// how likely, and how much.
func (w *Words) CalendarDay(name string, d *forecast.Day) (summary, text string) {
	likely := w.Say("calendar_"+strings.TrimPrefix(verdictOf(d), "verdict_"), nil)
	volume, _ := w.volumes(d)
	return w.Say("calendar_run", map[string]any{"Name": name, "Verdict": likely}),
		sentences([]string{volume, w.Say("calendar_estimate", nil)})
}

// CalendarRound is a round as a calendar shows it: who goes where, and what it carries in, by
// the words of the evening text.
func (w *Words) CalendarRound(bush *forecast.Bush, r *forecast.CrewRound) (summary, text string) {
	var groups, bad, who []string
	var sap forecast.Range
	for i := range r.Groups {
		g := &r.Groups[i]
		if name := w.GroupName(bush, g.Group); g.TipOut {
			bad = append(bad, name)
		} else {
			groups = append(groups, name)
			sap = forecast.Range{P10: sap.P10 + g.LowL, P50: sap.P50 + g.VolumeL, P90: sap.P90 + g.HighL}
		}
	}
	for _, id := range r.Who {
		who = append(who, bush.PersonName(id))
	}
	parts := []string{"", "", w.Say("calendar_estimate", nil)}
	if len(groups) > 0 {
		parts[0] = w.Say("calendar_round_text", map[string]any{"Groups": strings.Join(groups, ", "), "Who": w.whoOf(who), "Amount": w.About(sap)})
	}
	if len(bad) > 0 {
		parts[1] = w.Say("text_tip_out", map[string]any{"Groups": strings.Join(bad, ", ")})
	}
	return w.Say("calendar_round", map[string]any{"Name": bush.Name}), sentences(parts)
}
