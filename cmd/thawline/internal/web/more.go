package web

import "net/http"

// more lists the pages that have no place of their own on a phone.
func (p *Pages) more(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/more")
	if v == nil {
		return
	}
	var far []link
	for _, one := range v.Menu {
		if one.More {
			far = append(far, one)
		}
	}
	v.Body = far
	p.send(w, r, http.StatusOK, "more", v)
}

// told are the messages that the visitor got lately.
func (p *Pages) told(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/messages")
	if v == nil {
		return
	}
	rows, err := p.messages(r, v, p.Outlooks.Outlook(r.Context(), v.Site.ID))
	if err != nil {
		p.failed(w, r, err)
		return
	}
	v.Body = rows
	p.send(w, r, http.StatusOK, "messages", v)
}
