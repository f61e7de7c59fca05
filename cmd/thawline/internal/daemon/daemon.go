// Package daemon watches sugarbushes: it asks for weather, decides what people
// need to know, and sees to it that they are told once. It runs on a clock that
// is passed in, step by step, so that a season can be replayed.
package daemon

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/singleflight"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/inbound"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/volume"
)

// Asker gets the newest weather of a site, from services or the last good one, as the first
// inputs of its outlook: bulletin, who was passed over, official warnings.
type Asker interface {
	Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error)
}

// Settings are what the daemon goes by; Use replaces them while it runs.
type Settings struct {
	Sites        []forecast.Site
	People       []channel.Person
	Channels     map[string]channel.Channel
	Paces        map[string]Pacing // of channels, by id; missing ones for the usual one
	Tanks        []Tank
	Asker        Asker
	Services     []string // that the asker asks, by id
	EveningAt    time.Duration
	RefreshEvery time.Duration
	Thresholds   alerts.Thresholds
	Usual        message.Reader // whom feeds are for
	Voice        voice.Options
	Link         string             // for acknowledgements, "" without
	Catalogue    *message.Catalogue // nil for the words that came with the program
	Shapes       []hooks.Shape      // of gateways' call-backs, beside the usual ones
	LeftOut      []string           // what is wrong in files of sites that are left out
	// PastWeather fetches some of the weather of past winters with records that is not
	// kept; nil where no service knows it.
	PastWeather func(ctx context.Context, site *forecast.Site, now time.Time) error
}

// Daemon is the running thing.
type Daemon struct {
	Archive *archive.Archive
	Ledger  *ledger.Ledger
	Log     *slog.Logger
	Metrics *hooks.Metrics
	// PlaceKey names a site's place in the archive.
	PlaceKey func(*forecast.Site) string
	// Holder names this daemon among those that share a database: the same after a
	// restart, and no other's.
	Holder string
	// Now is the clock by which it is decided who may do what, the database's own in
	// service; nil for the moments that Step is given.
	Now func() time.Time

	catalogue atomic.Pointer[message.Catalogue]
	lexicon   atomic.Pointer[inbound.Lexicon]
	shelf     shelf
	remakes   remakes
	eyes      eyes
	summaries summaries
	senders   senders
	learnt    volume.Memory      // by outlooks before
	writing   singleflight.Group // whether the records can be written, asked once for all who ask
	accepted  sync.Map           // deliveries that a channel took and the ledger has not yet noted: what was said

	// Outbox is the ledger by which deliveries are sent, on connections of their own; nil
	// for Ledger.
	Outbox *ledger.Ledger
	// Pace keeps all daemons at what channels take; nil for no pace.
	Pace engine.Pace
	// Work are the kinds of work that are done here, nil for all: see Kinds.
	Work []string
	// River lets River drive the work on PostgreSQL, which it listens to at ListenAt, or
	// only asks, with "".
	River    bool
	ListenAt string

	reckoner   func(context.Context, forecast.Inputs) (forecast.Outlook, error) // nil for reckon; the simulation has outlooks at hand
	turn       func(of int) int                                                 // picks the next job in replays; nil for side by side
	driver     engine.Driver
	local      *engine.Local // the driver, or its part that lies in memory
	stepped    atomic.Int64  // the moment of the last step, in microseconds
	paused     sync.Map      // channels, until when
	paceSeen   sync.Map      // channels without a rate, when it was last looked whether they are paused
	measured   atomic.Bool   // a thermometer was heard
	made       atomic.Uint64 // outlooks
	fetched    sync.Map      // sites whose weather is at hand and whose work waits for its turn
	atHand     atomic.Int64  // how many
	complained sync.Map      // what the engine has told, and when

	mu       sync.Mutex
	settings Settings
	listed   []forecast.Site // in the order of the settings, whatever that of the work is
	jobs     []*job
	bySite   map[string][]*job
	busy     map[string]bool // sites whose work is being done or waits for its turn
	lastPlan time.Time
	housed   time.Time                    // when what is done for all was begun last
	rang     time.Time                    // when jobs that were lost were last looked for
	people   map[string][]*channel.Person // whom a site concerns; under "" those whom all do
	byID     map[string]*channel.Person
	byNumber map[string][]*channel.Person // by the digits of the number
	sites    map[string]*forecast.Site
	sharers  map[string]*forecast.Site // those that share what is seen there; replaced whole
	lastStep time.Time
	wrote    time.Time // when the records could be written for the figures, zero after a fault
	// By site and key; what the ledger did not take.
	unrecorded map[string]*unrecorded
	lookAgain  map[string]time.Time // by delivery, when it is looked again whether it is answered
	overviewed map[string]string    // by person, the local date of the newest overview
	fault      string               // of the settings, "" if they are good
}

// Refused notes that new settings did not check out: the old ones go on.
func (d *Daemon) Refused(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fault = err.Error()
}

// Step does what is due at a moment, and what that leads to, and says when something may be
// due next: for replays. A fault in one site, source or channel stops no other.
func (d *Daemon) Step(ctx context.Context, now time.Time) (next time.Time) {
	d.at(now)
	d.plan(ctx, now)
	d.local.Drain(ctx, now, func(queue string) bool { return !isOutbox(queue) })
	d.overviews(ctx, now)
	d.escalate(ctx, now)
	d.ringAgain(ctx, now)
	d.deliver(ctx, now)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lastStep = now
	return now.Add(time.Minute)
}

// Words are the words for a reader.
func (d *Daemon) Words(r message.Reader) (*message.Words, error) {
	if c := d.catalogue.Load(); c != nil {
		return c.Words(r)
	}
	return message.NewWords(r)
}
