package source

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/go-resty/resty/v2"
)

// retryAfter reads the header in both its forms (RFC 9110, 10.2.3); 0 if it
// says nothing.
func retryAfter(h http.Header, now time.Time) time.Duration {
	v := strings.TrimSpace(h.Get("Retry-After"))
	if s, err := strconv.Atoi(v); err == nil {
		return time.Duration(max(s, 0)) * time.Second
	}
	if t, err := http.ParseTime(v); err == nil {
		return max(t.Sub(now), 0)
	}
	return 0
}

// worthAnotherTry tells failures that pass within seconds from those that
// don't.
func worthAnotherTry(r *resty.Response, err error, maxWait time.Duration) bool {
	if err != nil { // after a time-out the next service is the better use of the time
		return !isSpent(err) && !errors.Is(err, resty.ErrResponseBodyTooLarge) && !timedOut(err) && r != nil &&
			r.Request.Context().Err() == nil
	}
	status := r.StatusCode()
	if status != http.StatusTooManyRequests && status < 500 {
		return false
	}
	p := readProblem(r.Body())
	return retryAfter(r.Header(), time.Now()) <= maxWait && !p.expired() && !p.spentForLong()
}

func timedOut(err error) bool {
	var timeout interface{ Timeout() bool }
	return errors.As(err, &timeout) && timeout.Timeout()
}

// problem is what services put into the body of an error: RFC 9457 for the US
// National Weather Service, {"error", "reason"} for Open-Meteo.
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Detail string `json:"detail"`
	Failed bool   `json:"error"`
	Reason string `json:"reason"`
}

func readProblem(body []byte) problem {
	var p problem
	if len(body) > 64<<10 {
		return p
	}
	if json.Unmarshal(body, &p) != nil {
		return problem{}
	}
	return p
}

func (p problem) expired() bool { return strings.HasSuffix(p.Type, "ForecastGridExpired") }

// spentForLong is true of a limit that an hour or a day must pass for.
func (p problem) spentForLong() bool {
	return strings.HasPrefix(p.Reason, "Hourly") || strings.HasPrefix(p.Reason, "Daily")
}

func (p problem) words() string {
	switch {
	case p.Reason != "":
		return p.Reason
	case p.Detail != "" && p.Detail != p.Title:
		return strings.TrimPrefix(p.Title+": "+p.Detail, ": ")
	}
	return p.Title
}

// faultOf tells what is wrong with an answer, nil if nothing.
func faultOf(service string, r *resty.Response) *Fault {
	status, p := r.StatusCode(), readProblem(r.Body())
	said := p.words()
	if said == "" {
		said = http.StatusText(status)
	}
	f := &Fault{Service: service, Status: status, Kind: Refused, Detail: fmt.Sprintf("answered %d (%s)", status, said)}
	switch {
	case status == http.StatusTooManyRequests:
		f.Kind, f.Remedy = Busy, "it asks for fewer questions"
	case p.expired():
		f.Kind, f.Detail = Outdated, "its forecast for this place has expired and no new one is out"
	case status >= 500:
		f.Kind = Busy
	case status == http.StatusForbidden:
		f.Remedy = "set weather.contact to an e-mail or web address at which you can be reached"
	case status >= 400:
	case status != http.StatusOK && status != http.StatusNonAuthoritativeInfo:
		f.Kind = Unreadable
	case p.Failed:
		f.Detail = "refused: " + said
	case looksLikeHTML(r.Header(), r.Body()):
		f.Kind, f.Detail, f.Remedy = Unreadable, "a web page instead of data"+pageTitle(r.Body()),
			"check its base_url, and whether this network asks for a login"
	default:
		return nil
	}
	if wait := retryAfter(r.Header(), time.Now()); f.Kind == Busy && wait > 0 {
		f.Remedy = "it asks to wait " + wait.Round(time.Second).String()
	}
	return f
}

func looksLikeHTML(h http.Header, body []byte) bool {
	return strings.HasPrefix(h.Get("Content-Type"), "text/html") || bytes.HasPrefix(bytes.TrimSpace(body), []byte("<"))
}

var titleTag = regexp.MustCompile(`(?is)<title[^>]*>\s*(.{1,60}?)\s*</title>`)

func pageTitle(body []byte) string {
	if m := titleTag.FindSubmatch(body); m != nil {
		return " (" + string(m[1]) + ")"
	}
	return ""
}

// unreadable is a fault in what a service said, where in its answer, and why.
func unreadable(service, format string, args ...any) *Fault {
	return &Fault{Service: service, Kind: Unreadable, Detail: "can't be read: " + fmt.Sprintf(format, args...)}
}

// decodeJSON decodes a whole body or says in plain words why not.
func decodeJSON(service string, body []byte, into any) error {
	if len(bytes.TrimSpace(body)) == 0 {
		return unreadable(service, "the answer is empty")
	}
	err := json.Unmarshal(body, into)
	var syntax *json.SyntaxError
	var wrong *json.UnmarshalTypeError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &syntax) && syntax.Offset >= int64(len(body)), errors.Is(err, io.ErrUnexpectedEOF):
		return unreadable(service, "the answer breaks off after %d bytes", len(body))
	case errors.As(err, &syntax):
		return unreadable(service, "not JSON from byte %d on", syntax.Offset)
	case errors.As(err, &wrong):
		where := wrong.Field
		if where == "" {
			where = "the answer"
		}
		return unreadable(service, "%s is %s, where something else belongs", where, jsonKind(wrong.Value))
	}
	var moment *time.ParseError
	if errors.As(err, &moment) {
		return unreadable(service, "%s is no moment", moment.Value)
	}
	return unreadable(service, "%s", strings.TrimPrefix(err.Error(), "json: "))
}

func jsonKind(value string) string {
	switch kind, _, _ := strings.Cut(value, " "); kind {
	case "array":
		return "a list"
	case "object":
		return "an object"
	case "string":
		return "a text"
	case "bool":
		return "true or false"
	default:
		return "a number"
	}
}
