// Package config reads the settings file and the environment into checked,
// plain values. Whatever is wrong is told all at once, each with the file, the
// line, the key and what would be right.
package config

import (
	"net/netip"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/voice"
	"thawline/forecast"
	"thawline/forecast/secret"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
)

// Config is all settings, checked.
type Config struct {
	File     string // the settings file, "" where there is none
	Units    units.System
	Language string // one of Languages
	Second   string // of whole sentences that Language lacks, "" for English
	// LanguageGiven tells a language that file or environment name from the default.
	LanguageGiven bool
	// Words are catalogue files that add a language each or change words of one,
	// Languages all that may be chosen, as BCP 47 tags.
	Words, Languages []string
	DataDir          string      // where records and outlooks are kept
	Database         secret.Text // address of the PostgreSQL database that keeps records instead, empty for a file in DataDir
	Weather          Weather
	Voice            voice.Options
	Sites            []forecast.Site // none only where no file was named
	SitesFrom        string          // a folder or table with more of them, "" for none
	// LeftOut are ids of sites that SitesFrom describes so badly that they are not
	// among the others; what is wrong is among the warnings.
	LeftOut  []string
	People   []Person
	Serve    Serve
	Alerts   alerts.Thresholds
	Channels []Channel
	Warnings []Problem // doubtful, but no reason to stop
}

// Weather says which services are asked, in order of preference, and how.
type Weather struct {
	Sources []string // of source.Names
	Contact string   // what services ask for, an address or a page; may be ""
	source.Services
}

// Bucket is another word for a pail, kept as one.
const Bucket = "bucket"

// Serve is how the daemon works.
type Serve struct {
	Listen       string // address of its pages and metrics
	Link         string // how people reach it from outside, "" if they can't
	AlwaysLogin  bool   // also where only this machine can reach the pages
	Proxies      []netip.Prefix
	EveningAt    time.Duration // after local midnight
	RefreshEvery time.Duration
	River        bool // drives the work on PostgreSQL, instead of the small driver
}

// Person is someone who is told. Ways are found from Channels when those are open.
type Person struct {
	channel.Person
	Phone, Email secret.Text     // empty where not given
	Gathers      []forecast.Free // when this person can go round; empty if nobody has said
	Boils        []forecast.Free // when this person boils; empty if nobody has said
	Channels     []string        // ids of channels, the preferred first
	Member       bool            // described in what SitesFrom leads to
}
