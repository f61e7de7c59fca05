package web

// ForgetSeasons lets go of seasons that were worked out, as a start does.
func (p *Pages) ForgetSeasons() { p.past.kept = nil }
