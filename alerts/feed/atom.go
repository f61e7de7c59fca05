package feed

import (
	"encoding/xml"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
)

// News is one entry of the Atom feed.
type News struct {
	ID    string // a UUID
	At    time.Time
	Title string
	Text  string
	Page  string // where it can be read, "" for the feed's
}

// Bulletin is an entry of a text whose first sentence is its title: one a day.
func Bulletin(text string, at time.Time) News {
	title, _, _ := strings.Cut(text, ". ")
	return News{ID: uuid.NewSHA1(uuid.NameSpaceURL, []byte("thawline:bulletin:"+at.Format(time.DateOnly))).String(), At: at,
		Title: title, Text: text}
}

// Channel is what a feed of news says of itself. ID is a URI that is its own for good.
type Channel struct {
	ID, Name   string
	Self, Page string    // addresses of the feed and of the page beside it, "" where there is none
	Updated    time.Time // of a feed without entries
}

// Atom writes entries as RFC 4287, the newest first. Titles and texts are plain text.
func Atom(c *Channel, list []News) (string, error) {
	type link struct {
		Rel  string `xml:"rel,attr"`
		Type string `xml:"type,attr"`
		Href string `xml:"href,attr"`
	}
	type text struct {
		Type string `xml:"type,attr"`
		Text string `xml:",chardata"`
	}
	type entry struct {
		ID        string `xml:"id"`
		Title     text   `xml:"title"`
		Published string `xml:"published"`
		Updated   string `xml:"updated"`
		Links     []link `xml:"link"`
		Content   text   `xml:"content"`
	}
	type author struct {
		Name string `xml:"name"`
	}
	page := func(at string) []link {
		if at == "" {
			return nil
		}
		return []link{{"alternate", "text/html", at}}
	}
	f := struct {
		XMLName xml.Name `xml:"http://www.w3.org/2005/Atom feed"`
		ID      string   `xml:"id"`
		Title   text     `xml:"title"`
		Updated string   `xml:"updated"`
		Author  author   `xml:"author"`
		Links   []link   `xml:"link"`
		Entries []entry  `xml:"entry"`
	}{ID: c.ID, Title: text{"text", printable(c.Name)}, Author: author{"thawline"}, Links: page(c.Page)}
	if c.Self != "" {
		f.Links = append(f.Links, link{"self", "application/atom+xml", c.Self})
	}
	updated := c.Updated
	for _, n := range list {
		if n.At.After(updated) {
			updated = n.At
		}
		at, where := n.At.UTC().Format(time.RFC3339), n.Page
		if where == "" {
			where = c.Page
		}
		f.Entries = append(f.Entries, entry{ID: "urn:uuid:" + n.ID, Title: text{"text", printable(n.Title)}, Published: at, Updated: at,
			Links: page(where), Content: text{"text", printable(n.Text)}})
	}
	f.Updated = updated.UTC().Format(time.RFC3339)
	body, err := xml.MarshalIndent(f, "", "  ")
	if err != nil {
		return "", fmt.Errorf("atom: %w", err)
	}
	return xml.Header + string(body) + "\n", nil
}
