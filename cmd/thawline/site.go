package main

import (
	"encoding/json"
	"fmt"
	"io"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// siteFromSettings hands the settings of a site on as plain values. Groups that
// share a tank get its volume in proportion to their taps.
func siteFromSettings(s *config.Site) forecast.Site {
	site := forecast.Site{
		ID: s.ID, Name: s.Name, Zone: s.Zone, TreeDiameterM: s.TreeDiameterM, Exposure: exposed(s.Exposure),
		Place: weather.Place{LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, ElevationM: s.ElevationM},
	}
	if site.Name == "" {
		site.Name = s.ID
	}
	tankL, tankTaps := map[string]float64{}, map[string]int{}
	for _, t := range s.Tanks {
		tankL[t.ID] = t.VolumeL
	}
	for _, g := range s.Groups {
		tankTaps[g.TankID] += g.Taps
	}
	for _, g := range s.Groups {
		group := forecast.Group{ID: g.ID, Name: g.Name, Taps: g.Taps, Method: volume.Method(g.CollectedBy),
			ContainerL: g.ContainerL, VacuumKPa: g.VacuumKPa, Tapped: g.Tapped}
		if g.TankID != "" {
			group.TankL = tankL[g.TankID] * float64(g.Taps) / float64(tankTaps[g.TankID])
		}
		site.Groups = append(site.Groups, group)
	}
	site.Gathering = forecast.Gathering{MinutesPerTap: s.Gathering.MinutesPerTap, TripWorthL: s.Gathering.TripWorthL}
	store := 0.0
	for _, t := range s.Tanks {
		if t.Kind == config.Gathering && tankTaps[t.ID] == 0 { // not one that tubing ends in
			site.Gathering.TankL += t.VolumeL
		}
		if t.Kind == config.Storage && tankTaps[t.ID] == 0 {
			store += t.VolumeL
		}
	}
	b := s.Boiling
	site.Boiling = forecast.Boiling{SyrupBrix: b.Syrup, RoomC: b.RoomC, StoreL: store,
		Pan: boil.Pan{Kind: boil.Kind(b.Pan), AreaM2: b.AreaM2, RateLH: b.RateLH, Fuel: boil.Fuel(b.Fuel), ReachBrix: b.Concentrate}}
	return site
}

// gaugedTanks are the tanks that tubing ends in, with the groups' shares by taps.
func gaugedTanks(s *config.Site) []daemon.Tank {
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
		for _, h := range p.Gathers {
			site.Gathering.Free = append(site.Gathering.Free, forecast.Free{Who: p.ID, Weekday: h.Weekday, From: h.From, To: h.To})
		}
	}
}

func exposed(e config.Exposure) trunk.Exposure {
	return trunk.Exposed(trunk.Canopy(e.Canopy), e.FacesDeg)
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
