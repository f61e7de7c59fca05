package web

// ForgetSeasons lets go of what was worked out of seasons and of pictures that were drawn, as
// a start does.
func (p *Pages) ForgetSeasons() {
	p.past.kept, p.past.marks, p.drawn.kept, p.drawn.bytes = nil, nil, nil, 0
	p.springs.kept, p.visited.kept, p.reviews.kept = nil, nil, nil
}
