package source

// Services says how each service is reached, and how often it may be asked. The zero
// value stands for the public services.
type Services struct {
	OpenMeteo         OpenMeteoOptions
	NWS               NWSOptions
	METNorway         METNorwayOptions
	EnvironmentCanada EnvironmentCanadaOptions
}

// Names are those of all services, as settings spell them.
func Names() []string {
	return []string{OpenMeteoName, NWSName, METNorwayName, EnvironmentCanadaName}
}

// Forecaster makes the adapter of a service; ok is false for a name that none has.
func (s *Services) Forecaster(name string, c *Client) (f Forecaster, ok bool) {
	switch name {
	case OpenMeteoName:
		return NewOpenMeteo(c, s.OpenMeteo), true
	case NWSName:
		return NewNWS(c, s.NWS), true
	case METNorwayName:
		return NewMETNorway(c, s.METNorway), true
	case EnvironmentCanadaName:
		return NewEnvironmentCanada(c, s.EnvironmentCanada), true
	}
	return nil, false
}

// Bounds are how often each service may be asked: the usual, but for what is given.
func (s *Services) Bounds() map[string]Bound {
	bounds := usualBounds(s.OpenMeteo.APIKey.Given())
	for name, own := range map[string]Bound{
		OpenMeteoName: s.OpenMeteo.Bound, NWSName: s.NWS.Bound,
		METNorwayName: s.METNorway.Bound, EnvironmentCanadaName: s.EnvironmentCanada.Bound,
	} {
		b := bounds[name]
		if own.PerSecond > 0 {
			b.PerSecond = own.PerSecond
		}
		if own.PerDay > 0 {
			b.PerDay = own.PerDay
		}
		bounds[name] = b
	}
	return bounds
}
