package message

import "thawline/alerts"

// Question asks whether a warning came true, without saying how to answer.
func (w *Words) Question(d *alerts.Decision) string {
	return w.Say(key(d), map[string]any{"Group": w.nameOf("group_name_"+d.Facts.GroupID, d.Facts.Group)})
}

// QuestionText is the question as a message, with the bush's name and how to answer.
func (w *Words) QuestionText(bush string, d *alerts.Decision) string {
	text := w.Question(d) + " " + w.Say("question_how", nil)
	return w.fitted(shorten(bush, 30)+". "+text, text)
}

// Answered thanks for an answer, and says which it was.
func (w *Words) Answered(yes bool) string {
	if yes {
		return w.Say("reply_answer_yes", nil)
	}
	return w.Say("reply_answer_no", nil)
}
