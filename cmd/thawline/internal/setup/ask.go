package setup

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/cli"
)

// questions asks on a terminal, or wherever lines come from.
type questions struct {
	ctx    context.Context
	in     *bufio.Scanner
	out    io.Writer
	words  *message.Words
	kept   *kept
	failed error // of writing
}

func newQuestions(ctx context.Context, in io.Reader, out io.Writer, words *message.Words, k *kept) *questions {
	return &questions{ctx: ctx, in: bufio.NewScanner(in), out: out, words: words, kept: k}
}

func (q *questions) print(text string) {
	if _, err := io.WriteString(q.out, message.Settle(text)); err != nil && q.failed == nil {
		q.failed = fmt.Errorf("print: %w", err)
	}
}

func (q *questions) tell(key string, values map[string]any) {
	q.print(q.words.Say(key, values) + "\n")
}

// next waits for a line, or for somebody who ends it all.
func (q *questions) next() (more bool, err error) {
	scanned := make(chan bool, 1)
	go func() { scanned <- q.in.Scan() }()
	select {
	case more = <-scanned:
		if err := q.in.Err(); err != nil {
			return false, fmt.Errorf("read an answer: %w", err)
		}
		return more, nil
	case <-q.ctx.Done():
		q.print("\n" + strings.TrimPrefix(q.kept.remark(q.words)+"\n", " "))
		return false, q.ctx.Err()
	}
}

// mostTries is how often a question is put again.
const mostTries = 5

// errBack is that somebody wants the question before.
var errBack = errors.New("back")

// ask puts a question until an answer fits; an empty line means what is usual, or what
// was answered before.
func (q *questions) ask(one *question) error {
	words := q.words.Open() // what is made of several texts is said in one language
	prompt, usual := words.Say(one.key, nil), one.usual()
	if before := q.kept.Answers[one.key]; before != "" {
		usual = before
	}
	if usual != "" {
		said := usual
		if one.options != nil {
			said = optionWord(words, one.option(usual))
		}
		prompt += " [" + said + "]"
	}
	for range mostTries {
		q.print(prompt + "\n> ")
		more, err := q.next()
		if err != nil {
			return err
		}
		if !more {
			return cli.WrongUse(message.Settle(words.Say("init_ended", map[string]any{"Question": prompt})) + q.kept.remark(q.words))
		}
		answer := strings.TrimSpace(q.in.Text())
		if means(answer, "init_back_words") {
			return errBack
		}
		if answer == "" {
			answer = usual
		}
		err = one.answer(answer)
		if err == nil {
			return q.taken(one, answer)
		}
		said := wrongAnswer(words, one, answer, err)
		var d *doubt
		if !errors.As(err, &d) {
			said = words.Say("init_wrong", map[string]any{"What": said})
		}
		q.print(said + "\n")
	}
	return cli.WrongUse(message.Settle(words.Say("init_no_fit", map[string]any{"Question": prompt})) + q.kept.remark(q.words))
}

// taken keeps an answer, and says how it was understood.
func (q *questions) taken(one *question, answer string) error {
	if one.heard != nil {
		if said := one.heard(); said != "" {
			q.print(said + "\n")
		}
	}
	if one.exact != nil {
		answer = one.exact()
	}
	return q.kept.put(one, answer)
}

// askEach puts every question that applies and has no answer yet.
func (q *questions) askEach(list []question) error {
	for i := 0; i < len(list); i++ {
		if one := &list[i]; one.done || !one.asked() {
			continue
		}
		err := q.ask(&list[i])
		if errors.Is(err, errBack) {
			if i = lastDone(list[:i]); i >= 0 {
				list[i].done = false
			}
			i--
			if i < -1 {
				q.tell("init_back_first", nil)
				i = -1
			}
			continue
		}
		if err != nil {
			return err
		}
		list[i].done = true
	}
	return nil
}

// lastDone is the last question that applies and has an answer, -1 for none.
func lastDone(list []question) int {
	for i := len(list) - 1; i >= 0; i-- {
		if list[i].done && list[i].asked() {
			return i
		}
	}
	return -1
}

// confirm shows all answers until nobody wants another: a number changes one. Where
// lines end there, all was answered.
func (q *questions) confirm(list []question) error {
	for {
		var shown []int
		for i := range list {
			if list[i].asked() {
				shown = append(shown, i)
			}
		}
		q.tell("init_answers", nil)
		for n, i := range shown {
			words := q.words.Open()
			q.print(fmt.Sprintf("%2d. %s\n", n+1,
				words.Say("init_answer", map[string]any{"What": words.Say("short_"+list[i].key, nil), "Said": q.shown(&list[i])})))
		}
		q.print(q.words.Say("init_confirm", nil) + "\n> ")
		more, err := q.next()
		if err != nil {
			return err
		}
		answer := ""
		if more {
			answer = strings.TrimSpace(q.in.Text())
		}
		n, err := strconv.Atoi(strings.TrimRight(answer, "."))
		switch {
		case answer == "" || slices.ContainsFunc([]string{"word_yes", "word_seen"}, func(key string) bool { return means(answer, key) }):
			return nil
		case means(answer, "init_back_words"):
			list[shown[len(shown)-1]].done = false
		case err == nil && n >= 1 && n <= len(shown):
			list[shown[n-1]].done = false
		default:
			words := q.words.Open()
			q.print(words.Say("init_wrong", map[string]any{"What": words.Say("wrong_init_confirm", nil)}) + "\n")
			continue
		}
		if err := q.askEach(list); err != nil {
			return err
		}
	}
}

// shown is an answer as it is read back.
func (q *questions) shown(one *question) string {
	answer := q.kept.Answers[one.key]
	switch {
	case one.secret:
		return "…"
	case one.options != nil:
		return optionWord(q.words, one.option(answer))
	}
	return answer
}

// question is one of several; asked says whether it is put at all, options, if there
// are any, what may be answered; heard, if it is there, says
// how an answer was understood, and exact is what of it is kept.
// What is secret is not kept between two tries; what can wait has something to begin
// with where assumed gives it.
type question struct {
	key     string
	usual   func() string
	asked   func() bool
	options []string
	take    func(answer string) error
	heard   func() string
	exact   func() string
	assumed func() string
	secret  bool
	later   bool
	done    bool
}

// doubt is an answer that can hardly be meant; given again, it is taken.
type doubt struct {
	key    string
	values map[string]any
}

func (d *doubt) Error() string { return d.key }

// answer takes an answer; options may be given in anybody's words.
func (one *question) answer(text string) error {
	if one.options != nil {
		text = one.option(text)
	}
	return one.take(text)
}

// option is the one that a text means, else the text.
func (one *question) option(text string) string {
	for _, o := range one.options {
		if folded(text) == folded(o) || means(text, "option_words_"+o) {
			return o
		}
	}
	return text
}

func optionWord(w *message.Words, option string) string { return w.Say("option_"+option, nil) }

// wrongAnswer says what was wrong with an answer, or what the question wants.
func wrongAnswer(w *message.Words, one *question, answer string, found error) string {
	var d *doubt
	if errors.As(found, &d) {
		return w.Say(d.key, d.values)
	}
	if near := one.nearest(answer); near != "" {
		return w.Say("init_did_you_mean", map[string]any{"Text": answer, "Word": optionWord(w, near)})
	}
	return w.Say("wrong_"+one.key, nil)
}
