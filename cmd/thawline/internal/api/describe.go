package api

import (
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// mayFail are the answers that every operation may give: what guards the whole program
// gives some of them.
var mayFail = []int{http.StatusBadRequest, http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound,
	http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable}

var tags = []*huma.Tag{
	{Name: "outlook", Description: "What is expected of sap."},
	{Name: "records", Description: "What people wrote down: rounds, taps, what is seen, the sugarhouse's book, who goes, visits of classes."},
	{Name: "messages", Description: "What people were told, and what became of it."},
	{Name: "members", Description: "An association's bushes and people: who they are, what they agreed to, who changed what."},
}

// tagOf is the tag of an operation.
func tagOf(operation string) string {
	switch {
	case strings.HasSuffix(operation, "-sites") || strings.HasSuffix(operation, "-outlook"):
		return "outlook"
	case strings.HasSuffix(operation, "-message") || strings.HasSuffix(operation, "-messages") || strings.HasSuffix(operation, "-verdicts"):
		return "messages"
	case strings.HasSuffix(operation, "-member") || strings.HasSuffix(operation, "-members"):
		return "members"
	}
	return "records"
}

// describe puts right what the document says of objects that may be missing: a pointer
// that is written as null is declared so.
func describe(a huma.API) {
	registry := a.OpenAPI().Components.Schemas
	for name, schema := range registry.Map() {
		t := registry.TypeFromRef("#/components/schemas/" + name)
		for t != nil && t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if t == nil || t.Kind() != reflect.Struct {
			continue
		}
		for _, f := range reflect.VisibleFields(t) {
			key, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			property := schema.Properties[key]
			if property == nil || f.Type.Kind() != reflect.Pointer || strings.Contains(options, "omitempty") || property.Ref == "" {
				continue
			}
			schema.Properties[key] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: property.Ref}, {Type: "null"}},
				Description: property.Description}
		}
	}
}
