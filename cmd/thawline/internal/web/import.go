package web

import (
	"bufio"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"strings"

	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/records"
)

// importBody is what came of a notebook: what has to be put right, or what was kept.
type importBody struct {
	File   string
	Faults []string
	Done   string
	Told   []string
	Undo   int64 // the entry that takes all of it back; 0 where nothing was written
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
	if !p.oneFile.TryLock() {
		p.fault(w, r, http.StatusTooManyRequests, "import_busy")
		return
	}
	defer p.oneFile.Unlock()
	file := sheetOf(r)
	if file == nil {
		refuse(v.T("import_none"))
		return
	}
	b.File = shortName(file.FileName())
	sheet := bufio.NewReader(file)
	if head, _ := sheet.Peek(headBytes); records.AreObservations(head) {
		p.importObserved(w, r, v, b, sheet, refuse)
		return
	}
	notebook, err := records.ReadNotebook(sheet, b.File, v.Site.Zone)
	if err != nil {
		refuse(strings.Split(v.words.Phrase(err.Error()), "\n")...)
		return
	}
	var faults []string
	for _, f := range intake.CheckTaps(v.Site, notebook.Taps, p.Now()) {
		said, _ := intake.SayTapFault(v.words, f)
		faults = append(faults, said)
	}
	if len(faults) > 0 {
		refuse(faults...)
		return
	}
	read := p.Now()
	result, err := p.Intake.Take(r.Context(),
		intake.Entry{Site: v.Site, Visits: notebook.Visits, Way: intake.Sheet, From: v.writer(), Words: v.words}, p.Now())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.Told = result.Told(v.words)
	if result.Refused {
		refuse(result.Faults(v.words)...)
		return
	}
	if _, err := p.Records.PutTaps(r.Context(), notebook.Taps, v.writer().Name, read); err != nil {
		p.failed(w, r, err)
		return
	}
	b.Done = result.Counts(v.words)
	if result.Wrote {
		b.Undo = result.Number
	}
	if len(notebook.NotRead) > 0 {
		b.Told = append(b.Told, v.T("records_not_read", "Columns", strings.Join(notebook.NotRead, ", ")))
	}
	p.send(w, r, http.StatusOK, "import", v)
}

// sheetOf is the file of a form, read as it comes; nil where there is none.
func sheetOf(r *http.Request) *multipart.Part {
	form, err := r.MultipartReader()
	if err != nil {
		return nil
	}
	for {
		part, err := form.NextPart()
		if err != nil {
			return nil
		}
		if part.FormName() == "file" && part.FileName() != "" {
			return part
		}
	}
}

// shortName keeps a file's name from flooding the page: it stands in each fault.
func shortName(name string) string {
	const longest = 60
	if letters := []rune(name); len(letters) > longest {
		return string(letters[:longest]) + "…"
	}
	return name
}

// headBytes are enough for a sheet's first line.
const headBytes = 1024

// importObserved takes the sheet of a weather station.
func (p *Pages) importObserved(w http.ResponseWriter, r *http.Request, v *view, b *importBody, sheet io.Reader,
	refuse func(faults ...string)) {
	list, err := records.ReadObservations(sheet, b.File, v.Site.Zone, p.Now())
	if err != nil {
		refuse(strings.Split(v.words.Phrase(err.Error()), "\n")...)
		return
	}
	puts, leftOut, err := p.Intake.ObserveFile(r.Context(), intake.Seen{Site: v.Site, List: list, From: v.writer()}, p.Now())
	if said, known := intake.SayObservationFault(v.words, err); known && !errors.Is(err, intake.ErrNotAllowed) {
		refuse(said)
		return
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.Done, b.Told = intake.SayObservedFile(v.words, puts), intake.SayLeftOut(v.words, leftOut)
	p.send(w, r, http.StatusOK, "import", v)
}
