package web

import (
	"net/http"
	"strings"

	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// importBody is what came of a notebook: what has to be put right, or what was kept.
type importBody struct {
	File   string
	Faults []string
	Done   string
	Told   []string
}

// importRecords takes a file of records: all of it, or nothing with all that is
// wrong.
func (p *Pages) importRecords(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/records")
	if v == nil {
		return
	}
	v.Title = v.T("import_title")
	b := &importBody{}
	v.Body = b
	refuse := func(faults ...string) {
		b.Faults = faults
		p.send(w, r, http.StatusUnprocessableEntity, "import", v)
	}
	file, header, err := r.FormFile("file")
	if err != nil {
		refuse(v.T("import_none"))
		return
	}
	defer func() { _ = file.Close() }()
	b.File = header.Filename
	notebook, err := records.ReadNotebook(file, header.Filename, v.Site.Zone)
	if err != nil {
		refuse(strings.Split(err.Error(), "\n")...)
		return
	}
	visits := notebook.Visits
	for i := range visits {
		visits[i].Site = v.Site.ID
	}
	doubts := append(records.Settle(visits, v.Site.ID, v.groups()), records.Doubts(visits, p.Now(), v.holds)...)
	var faults []string
	for i := range doubts {
		if doubts[i].Refusal {
			faults = append(faults, v.words.Doubt(&doubts[i]))
		} else {
			b.Told = append(b.Told, v.words.Doubt(&doubts[i]))
		}
	}
	if len(faults) > 0 {
		refuse(faults...)
		return
	}
	name := v.Identity.Name
	if name == "" {
		name = byPage
	}
	puts, err := p.Records.PutVisits(r.Context(), visits, name, p.Now())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	count := map[archive.Outcome]int{}
	for i := range puts {
		count[puts[i].Outcome]++
	}
	b.Done = v.words.Counts(count[archive.Added], count[archive.BroughtBack], count[archive.Same], count[archive.Corrected])
	if len(notebook.NotRead) > 0 {
		b.Told = append(b.Told, v.T("records_not_read", "Columns", strings.Join(notebook.NotRead, ", ")))
	}
	p.send(w, r, http.StatusOK, "import", v)
}

func (v *view) groups() (out []records.Group) {
	for _, g := range v.Site.Groups {
		out = append(out, records.Group{ID: g.ID, Name: g.Name})
	}
	return out
}
