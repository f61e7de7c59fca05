package config

import (
	"math"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/voice"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/maple"
	"thawline/forecast/secret"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather/source"
)

type shape int

const (
	text    shape = iota // one value
	list                 // values, or one text with commas
	section              // settings with names
	entries              // a list of sections, each with an id
	hidden               // a value that stands in a file of its own or in the environment
)

// setting is one row of the table: a key of the settings file, what may stand there or
// below it, and the field that it fills. Whatever is known of settings comes from it:
// how they are read and checked, their names in the environment, what was meant by a
// misspelt one, and what the example has to show.
type setting struct {
	key     string
	shape   shape
	example string // the value that the example file gives
	under   []setting
	past    bool // of earlier settings: still taken, but without effect and not offered
	// read fills the field from what stands at a path; nil where more than one path
	// is needed for it.
	read func(r *reader, path string, into any)
}

// of is a row that fills one field of what its section is read into.
func of[S, V any](key, example string, k kind[V], field func(*S) *V) setting {
	return custom(key, example, k.shape, func(r *reader, path string, into *S) {
		if value, given := k.read(r, path); given {
			*field(into) = value
		}
	})
}

// custom is a row that depends on others, or fills more than one field.
func custom[S any](key, example string, s shape, read func(r *reader, path string, into *S)) setting {
	return setting{key: key, shape: s, example: example, read: func(r *reader, path string, into any) { read(r, path, into.(*S)) }}
}

// apart is a row that is read by the code of its section.
func apart(key, example string) setting { return setting{key: key, example: example} }

func past(key string) setting { return setting{key: key, past: true} }

// within is a section that fills one part of what it stands in.
func within[S, T any](key string, part func(*S) *T, rows ...setting) setting {
	return setting{key: key, shape: section, under: rows,
		read: func(r *reader, path string, into any) { r.fill(rows, path, part(into.(*S))) }}
}

func each(key string, rows ...setting) setting {
	return setting{key: key, shape: entries, under: rows}
}

// fill reads rows, in their order, into what they fill.
func (r *reader) fill(rows []setting, path string, into any) {
	for i := range rows {
		if u := &rows[i]; u.read != nil {
			u.read(r, join(path, u.key), into)
		}
	}
}

// root is every setting there is.
var root = setting{shape: section, under: []setting{
	of("units", "us", system(), func(c *Config) *units.System { return &c.Units }),
	custom("words", "[es.toml]", list, func(r *reader, _ string, c *Config) { c.Words, c.Languages = r.catalogues() }),
	of("language", "en", tongue(), func(c *Config) *string { return &c.Language }),
	of("second_language", "fr", tongue(), func(c *Config) *string { return &c.Second }),
	of("data_dir", "/var/lib/thawline", fileName(), func(c *Config) *string { return &c.DataDir }),
	of("database", "/etc/thawline/database", confidential((*reader).database), func(c *Config) *secret.Text { return &c.Database }),

	within("weather", func(c *Config) *Weather { return &c.Weather }, append([]setting{
		custom("sources", "[nws, met_norway]", list, func(r *reader, path string, w *Weather) { w.Sources = r.sources(path) }),
		of("contact", "sugarhouse@example.org", words(), func(w *Weather) *string { return &w.Contact }),
	}, serviceRows()...)...),

	each("sites",
		apart("id", "hill"),
		of("name", "Hill bush", words(), func(s *forecast.Site) *string { return &s.Name }),
		of("latitude", "44.21", degrees("the latitude", "write degrees north, such as 44.35"),
			func(s *forecast.Site) *float64 { return &s.Place.LatitudeDeg }),
		of("longitude", "-72.84", degrees("the longitude", "write degrees east, below zero in the Americas, such as -72.68"),
			func(s *forecast.Site) *float64 { return &s.Place.LongitudeDeg }),
		of("elevation", "1350 ft", measured(units.ParseLength, -100, 4000, "no sugar bush lies at that height",
			"check the number and its unit"),
			func(s *forecast.Site) *float64 { return &s.Place.ElevationM }),
		custom("weather_from", "[bush, Madison 43.07 -89.40 264 m]", list,
			func(r *reader, path string, s *forecast.Site) { s.Stations = r.stations(path) }),
		custom("zone", "America/New_York", text, func(r *reader, path string, s *forecast.Site) { s.Zone = r.clocks(path) }),
		setting{key: "exposure", shape: section, under: standRows, read: func(r *reader, path string, into any) {
			st := stand{trunk.Closed, math.NaN()}
			r.fill(standRows, path, &st)
			into.(*forecast.Site).Exposure = trunk.Exposed(st.canopy, st.facesDeg)
		}},
		of("tree_diameter", "12 in", stemWidth(), func(s *forecast.Site) *float64 { return &s.TreeDiameterM }),
		within("shares", func(s *forecast.Site) *forecast.Shares { return &s.Shares },
			of("place", "no", whether("yes", "answer", "yes", "no"), func(s *forecast.Shares) *bool { return &s.Place }),
			of("litres", "no", whether("yes", "answer", "yes", "no"), func(s *forecast.Shares) *bool { return &s.Litres }),
			of("seen", "no", whether("yes", "answer", "yes", "no"), func(s *forecast.Shares) *bool { return &s.Seen }),
		),
		each("groups",
			apart("id", "south"),
			of("name", "South slope", words(), func(g *forecast.Group) *string { return &g.Name }),
			of("taps", "120", taps(), func(g *forecast.Group) *int { return &g.Taps }),
			of("collected_by", "pail", way(), func(g *forecast.Group) *volume.Method { return &g.Method }),
			custom("container", "4 gal", text, (*reader).container),
			custom("tank", "big", text, (*reader).tankOf),
			custom("vacuum", "20 inHg", text, (*reader).vacuum),
			of("tapped", "2026-02-20", day(), func(g *forecast.Group) *time.Time { return &g.Tapped }),
			of("tree_diameter", "16 in", stemWidth(), func(g *forecast.Group) *float64 { return &g.TreeDiameterM }),
			of("species", "sugar maple", species(), func(g *forecast.Group) *maple.Species { return &g.Species }),
		),
		each("tanks",
			apart("id", "big"),
			of("volume", "600 gal", litres(5, 1e6, "no sap tank is that size",
				"check the number and its unit").needed("the volume of the tank", withItsUnit),
				func(t *forecast.Tank) *float64 { return &t.VolumeL }),
			of("kind", "storage", oneOf("kind of tank", forecast.GatheringTank, forecast.StorageTank),
				func(t *forecast.Tank) *forecast.TankKind { return &t.Kind }),
			past("name"),
		),
		within("gathering", func(s *forecast.Site) *forecast.Gathering { return &s.Gathering },
			of("minutes_per_tap", "1", number(aboveZero, 30, "not a number", " minutes for one tap",
				"write how many minutes one person takes for a tap, such as 1"),
				func(g *forecast.Gathering) *float64 { return &g.MinutesPerTap }),
			of("trip_worth", "6 US gal",
				litres(0.5, 5000, "nobody goes for nothing, or for that much",
					"write the least sap that a trip must save, such as 25 L or 6 gal; 1 L where every trip is worth it"),
				func(g *forecast.Gathering) *float64 { return &g.TripWorthL }),
			of("accepted_risk", "10 %", chance(), func(g *forecast.Gathering) *float64 { return &g.AcceptedRisk }),
			of("gusts", "60 km/h", measured(units.ParseSpeed, 5, 40, "no bound for gusts",
				"write from which gusts on nobody is sent into the bush, such as 60 km/h or 37 mph"),
				func(g *forecast.Gathering) *float64 { return &g.GustMS }),
			of("wind_chill", "-28 °C", measured(units.ParseTemperature, -60, -5, "no bound for the wind chill",
				"write below which wind chill nobody is sent out, such as -28 °C or -18 °F"),
				func(g *forecast.Gathering) *float64 { return &g.ChillC }),
		),
		within("boiling", func(s *forecast.Site) *forecast.Boiling { return &s.Boiling },
			of("pan", "flat", oneOf("kind of pan", boil.Flat, boil.Flue), func(b *forecast.Boiling) *boil.Kind { return &b.Pan.Kind }),
			of("area", "12 sqft", measured(units.ParseArea, 0.05, 50, "no pan is that large or small",
				"write length times width, such as 12 sqft or 1.1 m2"),
				func(b *forecast.Boiling) *float64 { return &b.Pan.AreaM2 }),
			of("finishing_area", "2 sqft",
				measured(units.ParseArea, 0.02, 50, "no pan is that large or small",
					"write length times width of the pan in which syrup is finished, such as 2 sqft or 0.2 m2"),
				func(b *forecast.Boiling) *float64 { return &b.FinishM2 }),
			of("rate", "12 gal/h", anHour(0.5, 20000, "no pan boils that",
				"write the water boiled away in an hour, such as 45 L/h or 12 gal/h"),
				func(b *forecast.Boiling) *float64 { return &b.Pan.RateLH }),
			of("fuel", "wood", oneOf("fuel", boil.Wood, boil.Gas), func(b *forecast.Boiling) *boil.Fuel { return &b.Pan.Fuel }),
			of("concentrate", "8", brix(4, 40, "sap is concentrated to 4 to 40 °Brix"),
				func(b *forecast.Boiling) *float64 { return &b.Pan.ReachBrix }),
			of("syrup", "66.9", brix(65, 69, "syrup has 66 to 68.9 °Brix"), func(b *forecast.Boiling) *float64 { return &b.SyrupBrix }),
			of("room", "68 °F", measured(units.ParseTemperature, 5, 45, "nobody stirs sugar in such a room",
				"write its temperature, such as 20 °C or 68 °F"),
				func(b *forecast.Boiling) *float64 { return &b.RoomC }),
			of("finishing_depth", "2 in", depth(), func(b *forecast.Boiling) *float64 { return &b.FinishM }),
			of("finishing_fuel", "gas", oneOf("fuel", boil.Wood, boil.Gas), func(b *forecast.Boiling) *boil.Fuel { return &b.FinishOn }),
			of("pot", "4 gal", litres(1, 500, "no sugar pot is that size",
				"write what the pot holds to its rim, such as 4 gal or 15 L"), func(b *forecast.Boiling) *float64 { return &b.PotL }),
			of("trough", "2 gal", litres(0.5, 200, "no trough takes that",
				"write how much syrup the trough takes for stirring, such as 2 gal or 8 L"),
				func(b *forecast.Boiling) *float64 { return &b.TroughL }),
			of("one_watches", "2", whole(10, ": not a number of pans",
				"write how many pans and pots one person can watch at once, such as 2"),
				func(b *forecast.Boiling) *int { return &b.Watches }),
			of("school", "tue-thu 9:00-11:30", several((*reader).weekHours),
				func(b *forecast.Boiling) *[]forecast.Free { return &b.School }),
			each("pans",
				apart("id", "back"),
				of("kind", "flue", oneOf("kind of pan", boil.Flat, boil.Flue), func(v *boil.Vessel) *boil.Kind { return &v.Kind }),
				of("area", "8 sqft", measured(units.ParseArea, 0.05, 50, "no pan is that large or small",
					"write length times width, such as 8 sqft or 0.75 m2").needed("the area of the pan",
					"write length times width, such as 8 sqft or 0.75 m2"),
					func(v *boil.Vessel) *float64 { return &v.AreaM2 }),
				of("depth", "1.5 in", depth(), func(v *boil.Vessel) *float64 { return &v.DepthM }),
				of("hold_back", "1 in", depth(), func(v *boil.Vessel) *float64 { return &v.HoldBackM }),
				of("rate", "10 gal/h", anHour(0.5, 20000, "no pan boils that",
					"write the water boiled away in an hour, such as 45 L/h or 12 gal/h"),
					func(v *boil.Vessel) *float64 { return &v.RateLH }),
				of("fuel", "wood", oneOf("fuel", boil.Wood, boil.Gas), func(v *boil.Vessel) *boil.Fuel { return &v.Fuel }),
			),
		),
	),
	apart("sites_from", "members"),
	of("members_key", "/etc/thawline/members-key", confidential((*reader).membersKey),
		func(c *Config) *secret.Text { return &c.MembersKey }),

	each("people",
		apart("id", "robin"),
		of("name", "Robin", words(), func(p *Person) *string { return &p.Name }),
		of("role", "keeper", neededOneOf("role", channel.Keeper, channel.Crew, channel.Viewer), func(p *Person) *string { return &p.Role }),
		of("language", "en", tongue(), func(p *Person) *string { return &p.Reader.Language }),
		of("second_language", "fr", tongue(), func(p *Person) *string { return &p.Reader.Second }),
		of("units", "us", system(), func(p *Person) *units.System { return &p.Reader.Units }),
		of("phone", "/etc/thawline/robin-phone", confidential((*reader).phone), func(p *Person) *secret.Text { return &p.Phone }),
		of("email", "/etc/thawline/robin-email", confidential((*reader).email), func(p *Person) *secret.Text { return &p.Email }),
		of("sites", "[hill]", ids("site", "describe it under sites", (*reader).siteIDs), func(p *Person) *[]string { return &p.Sites }),
		of("quiet_hours", "21:00-06:00", stretch(), func(p *Person) *channel.Quiet { return &p.Quiet }),
		of("gathers", "mon-fri 15:30-19:00, sat-sun 9:00-17:00", several((*reader).weekHours),
			func(p *Person) *[]forecast.Free { return &p.Gathers }),
		of("boils", "sat 9:00-20:00", several((*reader).weekHours), func(p *Person) *[]forecast.Free { return &p.Boils }),
		of("channels", "[text, mail]", ids("channel", "describe it under channels", (*reader).channelIDs),
			func(p *Person) *[]string { return &p.Channels }),
		of("urgent_breaks_quiet", "yes", whether("yes", "answer", "yes", "no"), func(p *Person) *bool { return &p.BreaksQuiet }),
		of("each_bush", "yes", whether("yes", "answer", "yes", "no"), func(p *Person) *bool { return &p.EachBush }),
		custom("paused_until", "2026-03-28", text, (*reader).pause),
	),

	within("serve", func(c *Config) *Serve { return &c.Serve },
		of("listen", "127.0.0.1:8787", hostPort(), func(s *Serve) *string { return &s.Listen }),
		of("link", "https://bush.example.org/sap", address(), func(s *Serve) *string { return &s.Link }),
		of("login", "always", whether("always", "answer", "auto", "always"), func(s *Serve) *bool { return &s.AlwaysLogin }),
		custom("proxies", "[127.0.0.1]", list, (*reader).proxies),
		of("call_backs", "[from=data.sender.number text=data.content id=data.id]", several((*reader).callBack),
			func(s *Serve) *[]CallBack { return &s.CallBacks }),
		of("evening_at", "18:30", afternoon(), func(s *Serve) *time.Duration { return &s.EveningAt }),
		of("refresh_every", "3h", lasting(time.Hour, 24*time.Hour, ": services ask not to be asked more often than hourly",
			"write 1h to 24h, such as 3h"),
			func(s *Serve) *time.Duration { return &s.RefreshEvery }),
		of("engine", "river", whether("river", "engine", "local", "river"), func(s *Serve) *bool { return &s.River }),
	),

	within("login", func(c *Config) *Login { return &c.Login },
		of("issuer", "https://login.example.org", address(), func(l *Login) *string { return &l.Issuer }),
		of("client", "thawline", words(), func(l *Login) *string { return &l.ClientID }),
		of("client_secret", "/etc/thawline/login-secret", confidential((*reader).secret), func(l *Login) *secret.Text { return &l.Secret }),
		of("roles_claim", "roles", words(), func(l *Login) *string { return &l.RolesClaim }),
		of("person_claim", "preferred_username", words(), func(l *Login) *string { return &l.PersonClaim }),
	),

	within("voice", func(c *Config) *voice.Options { return &c.Voice },
		of("recordings", "/var/lib/thawline/recordings", fileName(), func(o *voice.Options) *string { return &o.Recordings }),
		of("command", "espeak-ng -v {language} -w {file} --stdin", words(), func(o *voice.Options) *string { return &o.Command }),
	),

	within("alerts", func(c *Config) *alerts.Thresholds { return &c.Alerts },
		custom("run_chance", "30 %", text, func(r *reader, path string, t *alerts.Thresholds) {
			if x, given := chance().read(r, path); given {
				t.AnnounceFrom(x)
				t.RunChosen = true
			}
		}),
		custom("overflow_chance", "50 %", text, func(r *reader, path string, t *alerts.Thresholds) {
			if x, given := chance().read(r, path); given {
				t.OverflowProbability, t.OverflowChosen = x, true
			}
		}),
		of("hard_freeze", "-8 °C", measured(units.ParseTemperature, -40, 0, "that is no hard freeze",
			"write the low from which full pails burst, such as -8 °C or 18 °F"),
			func(t *alerts.Thresholds) *float64 { return &t.FreezeC }),
		of("learners_score", "80", whole(100, ": not a score", "write 1 to 100, such as 80"),
			func(t *alerts.Thresholds) *int { return &t.TeachingScore }),
		of("stale_after", "24h", lasting(6*time.Hour, 7*24*time.Hour, ": not 6 hours to a week", "write it like 24h"),
			func(t *alerts.Thresholds) *time.Duration { return &t.StaleAfter }),
	),

	each("channels", channelRows()...),
}}

// stand is how the sun reaches the stems.
type stand struct {
	canopy   trunk.Canopy
	facesDeg float64 // clockwise from north, NaN for level
}

var standRows = []setting{
	of("faces", "southeast", direction(), func(s *stand) *float64 { return &s.facesDeg }),
	of("canopy", "closed", oneOf("canopy", trunk.Closed, trunk.Thinned, trunk.Open), func(s *stand) *trunk.Canopy { return &s.canopy }),
}

func perSecond[S any](bound func(*S) *source.Bound) setting {
	return of("per_second", "5", questions(1000), func(o *S) *float64 { return &bound(o).PerSecond })
}

func perDay[S any](bound func(*S) *source.Bound) setting {
	return of("per_day", "20000", questions(1e9), func(o *S) *float64 { return &bound(o).PerDay })
}

// part is what a file that sites_from leads to may hold.
var part = func() setting {
	sites, _ := root.find("sites")
	people, _ := root.find("people")
	return setting{shape: section, under: []setting{*sites, *people}}
}()

// below finds the rows of the entries of a list.
func (s *setting) below(keys ...string) []setting {
	for _, key := range keys {
		s, _ = s.find(key)
	}
	return s.under
}

// fileSuffix makes the key of a file that holds a secret from the secret's.
const fileSuffix = "_file"

// inFile lists the keys that the settings file may hold here.
func (s *setting) inFile() []string {
	var keys []string
	for _, u := range s.under {
		switch {
		case u.past:
		case u.shape == hidden:
			keys = append(keys, u.key+fileSuffix)
		default:
			keys = append(keys, u.key)
		}
	}
	return keys
}

// find returns the setting that a key of the file stands for, and whether the
// file may hold it.
func (s *setting) find(key string) (found *setting, allowed bool) {
	for i := range s.under {
		u := &s.under[i]
		switch {
		case u.shape == hidden && key == u.key+fileSuffix:
			return &setting{key: key}, true
		case key == u.key:
			return u, u.shape != hidden
		}
	}
	return nil, false
}

const envPrefix = "THAWLINE_"

// envName is the variable that sets a key, from the words that lead to it: the
// names of sections and lists, and the ids of a list's entries.
func envName(words []string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(strings.Join(words, "_"), "-", "_"))
}
