package web

import (
	"html/template"

	"thawline/alerts/message/sections"
	"thawline/forecast"
)

// mark is a shape that says one thing wherever it stands, 36 units high. Ink is sap:
// the more runs, the more of it is filled. Style.css gives the classes their colours:
// o outline, i filled in the text's colour, s sap, w and wf work to do.
type mark string

// The marks.
const (
	markStrong  mark = "strong"
	markRun     mark = "run"
	markLittle  mark = "little"
	markNone    mark = "none"
	markUnknown mark = "unknown" // no forecast, or weather that is too old
	markYes     mark = "yes"     // said so
	markAsked   mark = "asked"   // not said yet
	markWait    mark = "wait"    // on the phone, not sent
	markOutside mark = "outside" // not within what was promised
	markFalse   mark = "false"   // a run was announced and none came
	markMissed  mark = "missed"  // a run came and was not announced
	markUnseen  mark = "unseen"  // nobody saw whether one came
)

const pail = `<path class="o" d="M7.2 9 11 30h14l3.8-21"/><rect class="i" x="3.5" y="6" width="29" height="3.4" rx="1.7"/>`

var markShapes = map[mark]string{
	markStrong:  `<path class="s" d="M22 6h18l-3 18h-7l1.4-7H36V9H22zM5 15h24l-4.4 19H9.400z"/><path class="o" d="M31 24h6l3-18M5.2 15.5 9 33.500h16l3.8-18"/><rect class="i" x="16" y="3" width="27" height="3.6" rx="1.8"/><rect class="i" x="1" y="12" width="32" height="3.8" rx="1.9"/>`,
	markRun:     `<path class="s" d="M8.6 17h18.800l-2.5 13H11.100z"/>` + pail,
	markLittle:  `<path class="s" d="M10.2 25.500h15.600L25 30H11z"/>` + pail,
	markNone:    `<rect class="i" x="5" y="15.5" width="26" height="5" rx="1"/>`,
	markUnknown: `<path class="o" d="m9 9 18 18M27 9 9 27"/>`,
	markYes:     `<circle class="i" cx="18" cy="18" r="16"/><path class="c" d="m11 18.5 5 5 9-11"/>`,
	markAsked:   `<circle class="o" cx="18" cy="18" r="14.5" stroke-dasharray="6 5.4" stroke-linecap="butt"/>`,
	markWait:    `<circle class="w" cx="18" cy="18" r="14.5" stroke-dasharray="6 5.4" stroke-linecap="butt"/>`,
	markOutside: `<path class="w" d="m18 5 13 13-13 13L5 18z"/>`,
	markFalse:   `<path class="w" d="M5 5h26v26H5zM12 12l12 12M24 12 12 24"/>`,
	markUnseen:  ``,
	markMissed:  `<path class="wf" d="M18 2l16 16-16 16L2 18z"/><path class="c" d="M18 10v9M18 25.500v.1"/>`,
}

// markOf draws a mark. It says nothing aloud: the words beside it do.
func markOf(m mark) template.HTML {
	class, width := "m", "36"
	if m == markStrong {
		class, width = "m two", "44"
	}
	return template.HTML(`<svg class="` + class + `" viewBox="0 0 ` + width + ` 36" aria-hidden="true">` + markShapes[m] +
		`</svg>`) //nolint:gosec // of constants
}

// sapMark is the mark of a day, by how much sap it likely brings.
func sapMark(d *forecast.Day) mark {
	switch d.Class {
	case forecast.StrongRun:
		return markStrong
	case forecast.Run:
		return markRun
	case forecast.Trickle:
		return markLittle
	}
	switch forecast.VerdictOf(d.RunProbability) {
	case forecast.WillRun, forecast.Likely, forecast.Maybe:
		return markLittle
	}
	return markNone
}

// blocksOf is the filled part of the bar of a cell that has a score.
func blocksOf(cell any) string {
	if c, is := cell.(sections.Cell); is {
		return c.Blocks()
	}
	return ""
}
