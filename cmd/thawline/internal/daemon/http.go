package daemon

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"

	"thawline/alerts/ledger"
)

// Handler serves what is seen from outside: metrics, health, the links by which
// people say that they have seen a message, and a plain page of how things
// stand.
func (d *Daemon) Handler(now func() time.Time) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(d.Metrics.Registry, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		alive, _ := d.Health(now())
		verdict(w, alive)
	})
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		_, ready := d.Health(now())
		verdict(w, ready)
	})
	mux.HandleFunc("GET /a/{delivery}", func(w http.ResponseWriter, _ *http.Request) { show(w, http.StatusOK, askSeen, nil) })
	mux.HandleFunc("POST /a/{delivery}", func(w http.ResponseWriter, r *http.Request) {
		switch err := d.Ledger.Acknowledge(r.Context(), r.PathValue("delivery"), now()); {
		case errors.Is(err, ledger.ErrNone):
			show(w, http.StatusNotFound, "There is no such message.", nil)
		case err != nil:
			d.Log.Error("an acknowledgement was not kept", "error", err)
			show(w, http.StatusInternalServerError, "That could not be kept. Please try again.", nil)
		default:
			show(w, http.StatusOK, "Thank you, noted.", nil)
		}
	})
	d.feeds(mux, now)
	d.texts(mux, now)
	d.pushes(mux, now)
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, r *http.Request) { d.status(w, r, now()) })
	return mux
}

// A link alone does nothing: programs that look at messages follow links.
const askSeen = "Have you seen this message?"

func verdict(w http.ResponseWriter, what string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if what != "" {
		w.WriteHeader(http.StatusServiceUnavailable)
		_, _ = fmt.Fprintln(w, what)
		return
	}
	_, _ = fmt.Fprintln(w, "ok")
}

type statusRow struct{ When, Site, Kind, Person, State, Attempts, Said string }

type statusSite struct{ Name, Issued, Age, Source string }

var page = template.Must(template.New("status").Parse(`<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>thawline</title><style>body{font:16px system-ui,sans-serif;margin:1rem;max-width:60rem}table{border-collapse:collapse;width:100%}td,th{text-align:left;padding:.3rem .5rem;border-bottom:1px solid #ccc}button{font-size:1.2rem;padding:.6rem 1.2rem}
@media (prefers-color-scheme:dark){body{background:#1d1a17;color:#ece4d8}td,th{border-color:#4a433b}}</style>
<h1>thawline</h1>{{if .Words}}<p>{{.Words}}</p>{{end}}{{if .Ask}}<form method="post"><button>Seen</button></form>{{end}}
{{if .Sites}}<h2>Weather</h2><table><tr><th>Site<th>Issued<th>Age<th>Source</tr>{{range .Sites}}<tr><td>{{.Name}}<td>{{.Issued}}<td>{{.Age}}<td>{{.Source}}</tr>{{end}}</table>{{end}}
{{if .Fault}}<h2>Settings</h2><pre>{{.Fault}}</pre>{{end}}
{{if .Rows}}<h2>Messages</h2><table><tr><th>Decided<th>Site<th>About<th>To<th>State<th>Tries<th>Last answer</tr>{{range .Rows}}<tr><td>{{.When}}<td>{{.Site}}<td>{{.Kind}}<td>{{.Person}}<td>{{.State}}<td>{{.Attempts}}<td>{{.Said}}</tr>{{end}}</table>{{end}}</html>`))

type pageData struct {
	Words, Fault string
	Ask          bool
	Sites        []statusSite
	Rows         []statusRow
}

func show(w http.ResponseWriter, status int, words string, data *pageData) {
	if data == nil {
		data = &pageData{}
	}
	data.Words, data.Ask = words, words == askSeen
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Referrer-Policy", "no-referrer")
	w.WriteHeader(status)
	_ = page.Execute(w, data) // the reader has gone away
}

// status is how things stand: each site's weather and the last messages, by
// names of people, never by numbers.
func (d *Daemon) status(w http.ResponseWriter, r *http.Request, now time.Time) {
	data := &pageData{}
	for _, o := range d.Outlooks() {
		data.Sites = append(data.Sites, statusSite{o.Bush.Name, o.Source.IssuedAt.In(o.IssuedAt.Location()).Format("2006-01-02 15:04"), now.Sub(o.Source.IssuedAt).Round(time.Minute).String(), o.Source.Name})
	}
	d.mu.Lock()
	data.Fault = d.fault
	d.mu.Unlock()
	const most = 50
	recent, err := d.Ledger.Recent(r.Context(), most)
	if err != nil {
		show(w, http.StatusInternalServerError, "The ledger cannot be read: "+err.Error(), data)
		return
	}
	for i := range recent {
		v := &recent[i]
		row := statusRow{When: v.MadeAt.Format("2006-01-02 15:04 UTC"), Site: v.Site, Kind: string(v.Kind), Person: v.Person, State: string(v.State), Attempts: fmt.Sprint(v.Attempts)}
		if tries, err := d.Ledger.Attempts(r.Context(), v.ID); err == nil && len(tries) > 0 {
			row.Said = tries[len(tries)-1].Channel + ": " + tries[len(tries)-1].Said
		}
		data.Rows = append(data.Rows, row)
	}
	show(w, http.StatusOK, "", data)
}
