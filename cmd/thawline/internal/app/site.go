package app

import (
	"slices"

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

// crewsOf finds the people whom a site concerns, in their order, without looking at all.
func crewsOf(people []config.Person) func(site string) []config.Person {
	bySite := map[string][]int{}
	var ofAll []int
	for i := range people {
		if people[i].Sites == nil {
			ofAll = append(ofAll, i)
		}
		for _, id := range people[i].Sites {
			bySite[id] = append(bySite[id], i)
		}
	}
	return func(site string) (crew []config.Person) {
		at := slices.Concat(ofAll, bySite[site])
		slices.Sort(at)
		for _, i := range slices.Compact(at) {
			crew = append(crew, people[i])
		}
		return crew
	}
}

// AddCrew adds when the people whom a site concerns can go round, and when they boil.
func AddCrew(site *forecast.Site, people []config.Person) {
	for i := range people {
		p := &people[i]
		if p.Sites == nil || slices.Contains(p.Sites, site.ID) {
			site.Boiling.Hours = append(site.Boiling.Hours, p.Boils...)
		}
		if len(p.Gathers) == 0 || p.Sites != nil && !slices.Contains(p.Sites, site.ID) {
			continue
		}
		site.Gathering.Free = append(site.Gathering.Free, p.Gathers...)
		site.Gathering.People = append(site.Gathering.People, forecast.PersonName{ID: p.ID, Name: p.Name})
	}
}

// Words are those of the settings' language and units, with what their catalogues change.
func Words(c *config.Config) (*message.Words, error) {
	catalogue, err := message.LoadCatalogue(c.Words...)
	if err != nil {
		return nil, err
	}
	return catalogue.Words(Reader(c))
}

// Reader is whom the settings are for, where nobody else is named.
func Reader(c *config.Config) message.Reader {
	return message.Reader{Language: c.Language, Second: c.Second, Units: c.Units}
}
