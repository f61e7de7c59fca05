package daemon

import (
	"maps"
	"slices"

	"thawline/alerts"
	"thawline/alerts/ledger"
)

// published are the kinds that feeds tell of: what concerns a bush, not what was
// said to one person, nor what only those who keep the machine look after.
var published = slices.DeleteFunc(slices.Sorted(maps.Keys(toldTo)), func(k alerts.Kind) bool { return k == alerts.StaleFeed })

// Published are the kinds that feeds tell of.
func (d *Daemon) Published() []alerts.Kind { return published }

// UsualCopy is what was told in the language of the settings, else to the first
// person, and the language that it is in.
func (d *Daemon) UsualCopy(copies []ledger.Delivery) (*ledger.Delivery, string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	usual := d.settings.Usual.Language
	for i := range copies {
		if p := d.byID[copies[i].Person]; p != nil && p.Reader.Language == usual {
			return &copies[i], usual
		}
	}
	if p := d.byID[copies[0].Person]; p != nil {
		return &copies[0], p.Reader.Language
	}
	return &copies[0], usual // to somebody who is gone: most likely
}
