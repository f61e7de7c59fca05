package daemon

import "thawline/alerts/ledger"

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
