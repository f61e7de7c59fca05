package channel

import (
	"net/http"
	"time"

	"github.com/go-resty/resty/v2"

	"thawline/forecast/secret"
)

// Options are what settings say of a channel of one kind. Each stands beside its
// adapter.
type Options interface {
	// Settings are read in this order: one may look at those before it.
	Settings() []Setting
	// Check fills in what is usual and tells what is missing or can't be.
	Check() []Fault
	// Open makes the channel of options that are checked.
	Open(With) Channel
	// To is what the channel needs to find somebody, "" where that is not known.
	To(Reach) string
}

// Fault is what is wrong with one setting of a channel, by its key, and what would be
// right.
type Fault struct{ Key, What, Remedy string }

// Reach is how somebody can be reached.
type Reach struct {
	ID           string // in the settings
	Phone, Email secret.Text
	SomeSites    bool // not all sites concern them
}

// With is what channels of a program have in common.
type With struct {
	Agent       string        // how requests call the program
	Timeout     time.Duration // of one attempt
	Now         func() time.Time
	Subscribers Subscribers // the browsers that are pushed to
	Contact     string      // an address at which a push service can complain
}

// longestAnswer is what is read of a channel's answer: gateways say a line or two.
const longestAnswer = 64 << 10

func (w *With) client() *resty.Client {
	return resty.New().SetTimeout(w.Timeout).SetResponseBodyLimit(longestAnswer).SetRedirectPolicy(resty.NoRedirectPolicy()).SetHeader(
		"User-Agent", w.Agent)
}

func (w *With) pushes() *http.Client {
	return &http.Client{Timeout: w.Timeout, Transport: OpenInternet()}
}

// missing tells of settings that a kind can't do without, given as key, value and
// remedy in turns.
func missing(kind string, needed ...string) (faults []Fault) {
	for i := 0; i < len(needed); i += 3 {
		if needed[i+1] == "" {
			faults = append(faults, Fault{needed[i], "missing for a channel of kind " + kind, needed[i+2]})
		}
	}
	return faults
}
