package web

import (
	"html/template"
	"strings"
)

var functions = template.FuncMap{"bars": bars, "plain": plain, "mark": markOf}

// bars and plain part a cell that draws a bar from what is to be read aloud.
func bars(cell string) string {
	if !strings.ContainsAny(cell, "█·") || strings.Trim(cell, "█· 0123456789") != "" {
		return ""
	}
	return strings.TrimRight(strings.TrimRight(cell, " 0123456789"), "·")
}

func plain(cell string) string { return strings.TrimSpace(strings.TrimLeft(cell, "█·")) }
