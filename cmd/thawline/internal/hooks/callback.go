package hooks

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// Shape says where a gateway's call-back has the number, the words and the message's own
// id: paths of names, joined by dots, without places in lists, in small letters. The first
// that is there counts.
type Shape struct{ From, Text, ID []string }

// Shapes are the usual ones. A keeper adds others in the settings.
var Shapes = []Shape{
	{From: []string{"from", "sender", "msisdn", "source", "number", "phone", "originator", "mobile"},
		Text: []string{"text", "body", "message", "content", "cleantext"},
		ID:   []string{"id", "messageid", "message_id", "messagesid", "smssid", "message-id", "reference"}},
	{From: []string{"results.from", "results.sender", "messages.from", "messages.sender", "inbound.from"},
		Text: []string{"results.cleantext", "results.text", "results.message.text", "messages.text", "messages.body",
			"messages.message", "messages.text.body", "inbound.text"},
		ID: []string{"results.messageid", "messages.id", "messages.messageid", "messages.message_id", "inbound.id"}},
	{From: []string{"data.payload.from.phone_number", "data.payload.from", "payload.from", "data.from", "data.sender",
		"data.attributes.from"}, Text: []string{"data.payload.text", "payload.text", "payload.message", "data.text", "data.body",
		"data.attributes.body"}, ID: []string{"data.payload.id", "payload.id", "payload.messageid", "data.id"}},
	{From: []string{"message.from", "message.sender", "sms.from", "event.from", "from.number", "from.endpoint", "sender.number"},
		Text: []string{"message.text", "message.body", "message.content", "sms.text", "sms.body", "event.text", "message.content.text"},
		ID:   []string{"message.id", "sms.id", "event.id", "message.messageid"}},
	{From: []string{"entry.changes.value.messages.from", "value.messages.from"},
		Text: []string{"entry.changes.value.messages.text.body", "value.messages.text.body"},
		ID:   []string{"entry.changes.value.messages.id", "value.messages.id"}},
}

// incoming is one text of a call-back.
type incoming struct{ from, text, id string }

// understand reads every text of a call-back by the shapes, those of the settings first;
// none where nobody knows its shape. names are what stood in it, without what they said.
func understand(w http.ResponseWriter, r *http.Request, own []Shape) (texts []incoming, names []string, err error) {
	parts, err := partsOf(w, r)
	if err != nil {
		return nil, nil, err
	}
	known := map[string]bool{}
	for _, values := range parts {
		for name := range values {
			known[name] = true
		}
		for _, shape := range slices.Concat(own, Shapes) {
			in := incoming{first(values, shape.From), first(values, shape.Text), first(values, shape.ID)}
			if in.from != "" && in.text != "" {
				texts = append(texts, in)
				break
			}
		}
	}
	return texts, slices.Sorted(maps.Keys(known)), nil
}

func first(values map[string]string, names []string) string {
	for _, name := range names {
		if v := strings.TrimSpace(values[name]); v != "" {
			return v
		}
	}
	return ""
}

// partsOf are the values of a call-back by their paths, once for each element of a list.
func partsOf(w http.ResponseWriter, r *http.Request) ([]map[string]string, error) {
	if r.Method == http.MethodGet {
		return []map[string]string{formOf(r.URL.Query())}, nil
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, longestCallBack))
	if err != nil {
		return nil, fmt.Errorf("a call-back that can't be read: %w", err)
	}
	kind, values, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch trimmed := bytes.TrimSpace(body); {
	case strings.HasPrefix(kind, "multipart/"):
		return multipartOf(body, values["boundary"])
	case strings.HasSuffix(kind, "json") || len(trimmed) > 0 && (trimmed[0] == '{' || trimmed[0] == '['):
		in := json.NewDecoder(bytes.NewReader(body))
		in.UseNumber() // a number of a phone has more digits than a float keeps
		var document any
		if err := in.Decode(&document); err != nil {
			return nil, fmt.Errorf("a call-back that is no JSON: %w", err)
		}
		return flat(document, "", []map[string]string{{}}), nil
	}
	form, err := url.ParseQuery(string(body))
	if err != nil {
		return nil, fmt.Errorf("a call-back that is no form: %w", err)
	}
	for name, given := range r.URL.Query() {
		if form[name] == nil {
			form[name] = given
		}
	}
	return []map[string]string{formOf(form)}, nil
}

func formOf(form url.Values) map[string]string {
	values := map[string]string{}
	for name := range form {
		value := form.Get(name)
		if first, rest := firstOf(value), strings.TrimSpace(value); first && len(rest) > 1 { // a plus that nobody escaped is a space
			value = "+" + rest
		}
		values[strings.ToLower(name)] = value
	}
	return values
}

// firstOf reports whether a value begins with a space and is digits otherwise.
func firstOf(value string) bool {
	return strings.HasPrefix(value, " ") && strings.Trim(value, " 0123456789") == ""
}

func multipartOf(body []byte, boundary string) ([]map[string]string, error) {
	values := map[string]string{}
	in := multipart.NewReader(bytes.NewReader(body), boundary)
	for {
		part, err := in.NextPart()
		if errors.Is(err, io.EOF) {
			return []map[string]string{values}, nil
		}
		if err != nil {
			return nil, fmt.Errorf("a call-back in parts that can't be read: %w", err)
		}
		text, err := io.ReadAll(part)
		if err != nil {
			return nil, fmt.Errorf("a call-back in parts that can't be read: %w", err)
		}
		if part.FileName() == "" {
			values[strings.ToLower(part.FormName())] = string(text)
		}
	}
}

// mostTexts is how many texts one call-back may bring.
const mostTexts = 100

// flat adds the values of a document below a path to each of parts; a list makes as many
// of them as it has elements.
func flat(value any, path string, parts []map[string]string) []map[string]string {
	switch given := value.(type) {
	case map[string]any:
		keys := slices.Sorted(maps.Keys(given))
		// Lists come last, so that what stands beside them is known of each element.
		slices.SortStableFunc(keys, func(a, b string) int { return depth(given[a]) - depth(given[b]) })
		for _, key := range keys {
			parts = flat(given[key], joined(path, key), parts)
		}
	case []any:
		var all []map[string]string
		for _, element := range given {
			for _, before := range parts {
				all = append(all, flat(element, path, []map[string]string{maps.Clone(before)})...)
			}
			if len(all) > mostTexts {
				return all[:mostTexts]
			}
		}
		if len(all) > 0 {
			return all
		}
	case string, json.Number, bool:
		for _, values := range parts {
			values[path] = fmt.Sprint(given)
		}
	}
	return parts
}

func depth(value any) int {
	switch given := value.(type) {
	case []any:
		return 2
	case map[string]any:
		for _, below := range given {
			if depth(below) > 1 {
				return 2
			}
		}
		return 1
	}
	return 0
}

func joined(path, key string) string {
	if key = strings.ToLower(key); path == "" {
		return key
	}
	return path + "." + key
}
