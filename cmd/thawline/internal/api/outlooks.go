package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/conditional"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/auth"
)

// Site is a sugarbush, as the API lists it.
type Site struct {
	ID     string  `json:"id"`
	Name   string  `json:"name"`
	Zone   string  `json:"zone" doc:"IANA name of its time zone"`
	Taps   int     `json:"taps"`
	Groups []Group `json:"groups"`
}

// Group is taps that are gathered together.
type Group struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Taps int    `json:"taps"`
}

// SitePath names a site in an address.
type SitePath struct {
	Site string `path:"site" doc:"id of the site" maxLength:"64"`
}

func (s *server) outlooks() {
	type list struct{ Body []Site }
	add(s, auth.ReadOutlook, huma.Operation{OperationID: "list-sites", Method: http.MethodGet, Path: "/sites", Summary: "The sites",
		Description: "Lists the sugarbushes that may be seen, with their groups of taps."},
		func(ctx context.Context, _ *struct{}) (*list, error) {
			v := auth.From(ctx)
			out := &list{Body: []Site{}}
			for _, site := range s.Sites() {
				if !v.Sees(site.ID) {
					continue
				}
				one := Site{ID: site.ID, Name: site.Name, Zone: site.Zone.String(), Taps: site.Taps()}
				for _, g := range site.Groups {
					one.Groups = append(one.Groups, Group{g.ID, g.Name, g.Taps})
				}
				out.Body = append(out.Body, one)
			}
			return out, nil
		})

	type ask struct {
		SitePath
		conditional.Params
	}
	type answer struct {
		ETag         string    `header:"ETag"`
		LastModified time.Time `header:"Last-Modified"`
		CacheControl string    `header:"Cache-Control"`
		Body         *sections.Document
	}
	add(s, auth.ReadOutlook, huma.Operation{OperationID: "get-outlook", Method: http.MethodGet, Path: "/sites/{site}/outlook",
		Summary:     "The newest outlook",
		Description: "The same document as `thawline forecast --json` prints: days with chance, hours and litres, overflow, rounds, boil, season, and where the weather came from and how old it is. Ask with If-None-Match: it changes a few times a day.",
		Errors:      []int{http.StatusNotModified}},
		func(ctx context.Context, in *ask) (*answer, error) {
			if _, err := s.site(ctx, in.Site); err != nil {
				return nil, err
			}
			o := s.Outlook(ctx, in.Site)
			if o == nil {
				return nil, huma.Error404NotFound("there is no outlook yet; it comes with the first weather")
			}
			words, err := s.Words()
			if err != nil {
				return nil, s.failed("find words", err)
			}
			doc := sections.DocumentOf(o, words)
			data, err := json.Marshal(doc)
			if err != nil {
				return nil, s.failed("write the outlook", err)
			}
			sum := sha256.Sum256(data)
			tag := hex.EncodeToString(sum[:12])
			if in.HasConditionalParams() {
				if err := in.PreconditionFailed(tag, o.IssuedAt.UTC()); err != nil {
					return nil, huma.ErrorWithHeaders(err, http.Header{"ETag": {`"` + tag + `"`}})
				}
			}
			return &answer{ETag: `"` + tag + `"`, LastModified: o.IssuedAt.UTC(), CacheControl: "private, max-age=60", Body: doc}, nil
		})
}
