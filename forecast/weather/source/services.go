package source

import (
	"slices"

	"thawline/forecast/secret"
)

// Services says how each service is reached, and how often it may be asked. The zero
// value stands for the public services.
type Services struct {
	OpenMeteo         OpenMeteoOptions
	NWS               NWSOptions
	METNorway         METNorwayOptions
	EnvironmentCanada EnvironmentCanadaOptions
}

// services are all there are, each beside its adapter; in this order they are listed.
var services = []*Service{&openMeteoService, &nwsService, &metNorwayService, &environmentCanadaService}

// Service is what differs between weather services: one beside each adapter. Addresses,
// bounds and settings belong to the fields of [Services] that they point to.
type Service struct {
	name  string
	make  func(s *Services, c *Client) Forecaster
	base  func(s *Services) *string
	bound func(s *Services) *Bound
	// usual stays below what the service publishes or asks for in its terms.
	usual func(s *Services) Bound
	// warns lists the zones of the time zone database for which it issues official warnings,
	// parted by spaces; "" where its adapter is no [Warner].
	warns string

	// Example is an address of a server of one's own, for the table of settings.
	Example string
	// Options are the settings that no other service has.
	Options []Option
	// WantsContact says that it may refuse programs that don't say whose they are.
	WantsContact bool
	// ByDefault says that it is asked where the settings name no service.
	ByDefault bool
}

// Option is a setting of one service: a text, an address, or a secret that stands in a
// file of its own.
type Option struct {
	Key, Example string
	Address      bool
	Text         func(s *Services) *string      // nil for a secret
	Secret       func(s *Services) *secret.Text // nil for a text
}

// Name is the service's name in settings.
func (s *Service) Name() string { return s.name }

// BaseURL is where the settings say that the service is, "" for its public address.
func (s *Service) BaseURL(of *Services) *string { return s.base(of) }

// Bound is what the settings say of how often it may be asked.
func (s *Service) Bound(of *Services) *Bound { return s.bound(of) }

// All lists all services.
func All() []*Service { return slices.Clone(services) }

// Names are those of all services, as settings spell them.
func Names() []string {
	names := make([]string, len(services))
	for i, s := range services {
		names[i] = s.name
	}
	return names
}

// DefaultNames are those that are asked where the settings name none.
func DefaultNames() (names []string) {
	for _, s := range services {
		if s.ByDefault {
			names = append(names, s.name)
		}
	}
	return names
}

func serviceOf(name string) *Service {
	if i := slices.IndexFunc(services, func(s *Service) bool { return s.name == name }); i >= 0 {
		return services[i]
	}
	return nil
}

// Forecaster makes the adapter of a service; ok is false for a name that none has.
func (s *Services) Forecaster(name string, c *Client) (f Forecaster, ok bool) {
	if one := serviceOf(name); one != nil {
		return one.make(s, c), true
	}
	return nil, false
}

// Bounds are how often each service may be asked: the usual, but for what is given.
func (s *Services) Bounds() map[string]Bound {
	bounds := map[string]Bound{}
	for _, one := range services {
		b, own := one.usual(s), one.bound(s)
		if own.PerSecond > 0 {
			b.PerSecond = own.PerSecond
		}
		if own.PerDay > 0 {
			b.PerDay = own.PerDay
		}
		bounds[one.name] = b
	}
	return bounds
}
