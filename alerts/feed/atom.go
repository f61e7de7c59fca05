package feed

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/gorilla/feeds"
)

// News is one entry of the Atom feed.
type News struct {
	ID    string
	At    time.Time
	Title string
	Text  string
}

// Bulletin is an entry of a text whose first sentence is its title: one a day.
func Bulletin(text string, at time.Time) News {
	title, _, _ := strings.Cut(text, ". ")
	return News{ID: uuid.NewSHA1(uuid.NameSpaceURL, []byte("thawline:bulletin:"+at.Format(time.DateOnly))).String(), At: at, Title: title, Text: text}
}

// Atom writes entries as RFC 4287, the newest first.
func Atom(name, link string, list []News) (string, error) {
	f := &feeds.Feed{Title: printable(name), Link: &feeds.Link{Href: link}, Id: link, Author: &feeds.Author{Name: "thawline"}}
	for _, n := range list {
		if n.At.After(f.Updated) {
			f.Updated = n.At
		}
		f.Items = append(f.Items, &feeds.Item{Id: "urn:uuid:" + n.ID, Title: printable(n.Title), Link: &feeds.Link{Href: link}, Updated: n.At, Created: n.At, Description: printable(n.Text)})
	}
	text, err := f.ToAtom()
	if err != nil {
		return "", fmt.Errorf("atom: %w", err)
	}
	return text, nil
}
