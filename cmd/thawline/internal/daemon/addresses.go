package daemon

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"

	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
)

// Address is the unguessable part of the address of something of a site.
func Address(ctx context.Context, l *ledger.Ledger, what, site string) (string, error) {
	key, err := l.Key(ctx)
	if err != nil {
		return "", err
	}
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(what + "\x00" + site))
	return hex.EncodeToString(mac.Sum(nil)[:16]), nil
}

// SiteBehind finds the site whose address of that kind was asked for.
func (d *Daemon) SiteBehind(ctx context.Context, what, token string) *forecast.Site {
	d.mu.Lock()
	sites := d.settings.Sites
	d.mu.Unlock()
	var found *forecast.Site
	for i := range sites {
		if address, err := Address(ctx, d.Ledger, what, sites[i].ID); err == nil &&
			subtle.ConstantTimeCompare([]byte(address), []byte(token)) == 1 {
			found = &sites[i]
		}
	}
	return found
}

// PersonBehind finds whose address of that kind it is, "" for nobody's.
func (d *Daemon) PersonBehind(ctx context.Context, what, token string) string {
	d.mu.Lock()
	people := d.settings.People
	d.mu.Unlock()
	found := ""
	for i := range people {
		if address, err := Address(ctx, d.Ledger, what, people[i].ID); err == nil &&
			subtle.ConstantTimeCompare([]byte(address), []byte(token)) == 1 {
			found = people[i].ID
		}
	}
	return found
}

// GatewayAddress is what the one address for a gateway's number is made of, instead of a
// site's id.
const GatewayAddress = ""

// GatewayBehind reports whether an address is the one for all texts of a gateway.
func (d *Daemon) GatewayBehind(ctx context.Context, token string) bool {
	address, err := Address(ctx, d.Ledger, "in", GatewayAddress)
	return err == nil && subtle.ConstantTimeCompare([]byte(address), []byte(token)) == 1
}

// Shapes are those of call-backs that the settings add.
func (d *Daemon) Shapes() []hooks.Shape {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.settings.Shapes
}

// WordsOf are the words in which a person reads.
func (d *Daemon) WordsOf(person string) (*message.Words, error) { return d.Words(d.readerOf(person)) }
