package message

import "thawline/alerts"

// Question asks whether a warning came true, without saying how to answer.
func (w *Words) Question(d *alerts.Decision) string {
	return w.Say(key(d), map[string]any{"Group": d.Facts.Group})
}

// QuestionText is the question as a text message, with the bush's name and how to answer.
func (w *Words) QuestionText(bush string, d *alerts.Decision) string {
	asked := " " + w.Say("question_how", nil)
	text := ToGSM7(w.Question(d) + asked)
	if n, ok := Septets(ToGSM7(shorten(bush, 30)) + ". " + text); ok && n <= SMSLimit {
		return ToGSM7(shorten(bush, 30)) + ". " + text
	}
	return shorten(text, SMSLimit)
}

// Answered thanks for an answer, and says which it was.
func (w *Words) Answered(yes bool) string {
	if yes {
		return w.Say("reply_answer_yes", nil)
	}
	return w.Say("reply_answer_no", nil)
}
