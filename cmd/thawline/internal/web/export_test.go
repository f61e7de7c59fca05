package web

// ForgetSeasons lets go of seasons that were worked out and pictures that were drawn, as a start does.
func (p *Pages) ForgetSeasons() {
	p.past.kept, p.past.marks, p.drawn.kept, p.drawn.bytes = nil, nil, nil, 0
}
