package main

import (
	"encoding/json"
	"fmt"
	"io"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
)

// gaugedTanks are the tanks that tubing ends in, with the groups' shares by taps.
func gaugedTanks(s *forecast.Site) []daemon.Tank {
	var out []daemon.Tank
	for _, t := range s.Tanks {
		tank := daemon.Tank{Site: s.ID, ID: t.ID, VolumeL: t.VolumeL}
		taps := 0
		for _, g := range s.Groups {
			if g.TankID == t.ID {
				taps += g.Taps
			}
		}
		for _, g := range s.Groups {
			if g.TankID == t.ID {
				tank.Groups = append(tank.Groups, daemon.Share{Group: g.ID, Part: float64(g.Taps) / float64(taps)})
			}
		}
		out = append(out, tank)
	}
	return out
}

// withCrew adds when the people of the settings can go round.
func withCrew(site *forecast.Site, people []config.Person) {
	for _, p := range people {
		site.Gathering.Free = append(site.Gathering.Free, p.Gathers...)
	}
}

func newWords(c *config.Config) (*message.Words, error) {
	catalogue, err := message.LoadCatalogue(c.Words...)
	if err != nil {
		return nil, err
	}
	return catalogue.Words(reader(c))
}

func writeJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("write the JSON document: %w", err)
	}
	return nil
}
