package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode"

	"github.com/go-chi/chi/v5"
	"golang.org/x/text/unicode/norm"

	"thawline/cmd/thawline/internal/members"
	"thawline/config"
)

// membersBody is the list of an association's bushes and people.
type membersBody struct {
	Query string
	Rows  []memberRow
	More  int // how many are not shown
	Said  []string
	Links []members.Invite // that are shown this once
}

type memberRow struct{ Href, Kind, ID, Name, Paused string }

// mostMembers is how many rows the list shows: more are found by their names.
const mostMembers = 200

// members are the bushes and people that the database keeps, by a part of name or id.
func (p *Pages) members(w http.ResponseWriter, r *http.Request) {
	p.membersPage(w, r, http.StatusOK, &membersBody{})
}

func (p *Pages) membersPage(w http.ResponseWriter, r *http.Request, status int, b *membersBody) {
	v := p.deskView(w, r)
	v.Title, v.Body = v.T("desk_members"), b
	all, err := p.Desk.All(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.Query = strings.TrimSpace(r.URL.Query().Get("q"))
	for i := range all {
		k := &all[i]
		name, _ := k.Values["name"].(string)
		if !contains(b.Query, name, k.ID) {
			continue
		}
		if len(b.Rows) == mostMembers {
			b.More++
			continue
		}
		paused, _ := k.Values["paused_until"].(string)
		b.Rows = append(b.Rows, memberRow{v.Base + memberPath(k.Kind, k.ID), v.T("desk_kind_" + k.Kind), k.ID, name, paused})
	}
	p.send(w, r, status, "members", v)
}

// contains reports whether a name or an id has what is looked for, whatever its letters' size and
// accents; nothing is looked for in all.
func contains(query, name, id string) bool {
	return strings.Contains(plain(name+" "+id), plain(query))
}

// plain is a text in small letters without accents.
func plain(text string) string {
	return strings.Map(func(c rune) rune {
		if unicode.Is(unicode.Mn, c) {
			return -1
		}
		return unicode.ToLower(c)
	}, norm.NFD.String(text))
}

func memberPath(kind, id string) string { return "/desk/members/" + kind + "/" + url.PathEscape(id) }

// author is who changes members by a page.
func (v *view) author() members.Author {
	return members.Author{Name: v.writer().Name, Way: members.ByPage}
}

// importMembers takes a CSV table.
func (p *Pages) importMembers(w http.ResponseWriter, r *http.Request) {
	v := p.deskView(w, r)
	b := &membersBody{}
	file, header, err := r.FormFile("file")
	if err != nil {
		b.Said = []string{v.T("import_none")}
		p.membersPage(w, r, http.StatusUnprocessableEntity, b)
		return
	}
	defer func() { _ = file.Close() }()
	data, err := io.ReadAll(file)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	by := v.author()
	by.Way = members.ByCSV
	done, err := p.Desk.Import(r.Context(), header.Filename, data, r.PostFormValue("invite"), by, p.Now())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.Said = append(b.Said, v.T("desk_imported", "Added", done.Added, "Changed", done.Changed, "Same", done.Same, "LeftOut",
		len(done.LeftOut)))
	for i, line := range done.LeftOut {
		if i == mostStanding {
			break
		}
		b.Said = append(b.Said, line)
	}
	for _, i := range done.Invited {
		if !i.Sent {
			b.Links = append(b.Links, i)
		}
	}
	p.membersPage(w, r, http.StatusOK, b)
}

// memberBody is one bush or person as a form.
type memberBody struct {
	Kind, ID string
	Fresh    bool // not kept yet
	Revision int
	Fields   []memberField
	Log      []logLine
	Link     string // that is shown this once
}

type memberField struct{ Key, Label, Value string }

type logLine struct{ When, Who, What, Said, Says string }

// What a form shows of a bush, of each of its groups, and of a person, by the keys of the
// settings file; whatever else is kept stays as it is.
var (
	bushFields = []string{"name", "latitude", "longitude", "elevation", "zone", "exposure.faces", "exposure.canopy", "tree_diameter",
		"shares.place", "shares.litres", "shares.seen"}
	groupFields  = []string{"id", "name", "taps", "collected_by", "container", "vacuum", "tank", "tapped", "species", "tree_diameter"}
	personFields = []string{"name", "role", "sites", "phone", "email", "channels", "language", "units", "quiet_hours",
		"urgent_breaks_quiet", "each_bush", "gathers", "boils", "paused_until"}
)

func (p *Pages) member(w http.ResponseWriter, r *http.Request) {
	p.memberPage(w, r, http.StatusOK, nil, "", "")
}

// memberOf reads who is asked for; a new one is empty.
func (p *Pages) memberOf(r *http.Request) (k members.Kept, fresh bool, err error) {
	kind, id := chi.URLParam(r, "kind"), chi.URLParam(r, "id")
	if kind != config.Bush && kind != config.Member {
		return k, false, members.ErrNone
	}
	if id == "new" {
		return members.Kept{Described: config.Described{Kind: kind, Values: map[string]any{}}}, true, nil
	}
	k, err = p.Desk.One(r.Context(), kind, id)
	return k, false, err
}

func (p *Pages) memberPage(w http.ResponseWriter, r *http.Request, status int, typed map[string]any, wrong, link string) {
	v := p.deskView(w, r)
	k, fresh, err := p.memberOf(r)
	if errors.Is(err, members.ErrNone) {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b := &memberBody{Kind: k.Kind, ID: k.ID, Fresh: fresh, Revision: k.Revision, Link: link}
	values := k.Shown()
	if typed != nil {
		values = typed
	}
	b.Fields = fieldsOf(v, k.Kind, values, fresh)
	if !fresh {
		list, err := p.Desk.Log(r.Context(), k.Kind, k.ID, 20)
		if err != nil {
			p.failed(w, r, err)
			return
		}
		b.Log = p.logLines(v, list)
	}
	v.Title, v.Wrong, v.Body = k.ID, wrong, b
	if fresh {
		v.Title = v.T("desk_new_" + k.Kind)
	}
	p.send(w, r, status, "member", v)
}

func fieldsOf(v *view, kind string, values map[string]any, fresh bool) (out []memberField) {
	add := func(prefix, label string, keys []string, of map[string]any) {
		for _, key := range keys {
			value := shownValue(of, key)
			if (key == "phone" || key == "email") && !fresh { // what is kept is shown beside, not sent back
				value = ""
			}
			name := label + v.T("desk_key_"+strings.ReplaceAll(key, ".", "_"))
			if said := shownValue(of, key); value == "" && said != "" {
				name += " (" + said + ")"
			}
			out = append(out, memberField{prefix + key, name, value})
		}
	}
	if fresh {
		add("", "", []string{"id"}, values)
	}
	if kind == config.Member {
		add("", "", personFields, values)
		return out
	}
	add("", "", bushFields, values)
	groups, _ := values["groups"].([]any)
	for i := range len(groups) + 1 {
		of := map[string]any{}
		if i < len(groups) {
			of, _ = groups[i].(map[string]any)
		}
		add(fmt.Sprintf("groups.%d.", i), v.T("desk_group", "N", i+1)+": ", groupFields, of)
	}
	return out
}

// shownValue is one value as a form has it, lists as one text.
func shownValue(values map[string]any, key string) string {
	section, rest, nested := strings.Cut(key, ".")
	if nested {
		under, _ := values[section].(map[string]any)
		return shownValue(under, rest)
	}
	switch value := values[key].(type) {
	case nil:
		return ""
	case []any:
		var list []string
		for _, one := range value {
			list = append(list, fmt.Sprint(one))
		}
		return strings.Join(list, ", ")
	default:
		return fmt.Sprint(value)
	}
}

func (p *Pages) logLines(v *view, list []members.Change) (out []logLine) {
	for _, c := range list {
		out = append(out, logLine{v.Moment(c.At), c.By, v.T("desk_did_"+c.What) + " " + c.Member + " (" + v.T("desk_way_"+c.Way) + ")",
			saidIn(c.Said), saidIn(c.Says)})
	}
	return out
}

// saidIn is the log's JSON as people read it.
func saidIn(document string) string {
	values := map[string]any{}
	_ = json.Unmarshal([]byte(document), &values) // was written as JSON
	return plainly(values, ": ", "; ")
}

// plainly is a value of JSON without its signs: keys in their order, without those that
// have no value.
func plainly(value any, is, then string) string {
	var parts []string
	switch value := value.(type) {
	case nil:
		return ""
	case []any:
		for _, one := range value {
			parts = append(parts, plainly(one, " ", ", "))
		}
		return strings.Join(parts, ", ")
	case map[string]any:
		for key, one := range value {
			if text := plainly(one, " ", ", "); text != "" {
				parts = append(parts, key+is+text)
			}
		}
		slices.Sort(parts)
		return strings.Join(parts, then)
	}
	return fmt.Sprint(value)
}

// changeMember does what a form of a bush or person asks for.
func (p *Pages) changeMember(w http.ResponseWriter, r *http.Request) {
	v := p.deskView(w, r)
	k, fresh, err := p.memberOf(r)
	if errors.Is(err, members.ErrNone) {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	by, now, ctx := v.author(), p.Now(), r.Context()
	done := v.Base + memberPath(k.Kind, k.ID)
	switch do := r.PostFormValue("do"); {
	case do == "save":
		p.saveMember(w, r, v, &k, fresh)
		return
	case do == "remove" && !fresh:
		err, done = p.Desk.Remove(ctx, k.Kind, k.ID, by, now), v.Base+"/desk/members"
	case k.Kind != config.Member || fresh:
		p.fault(w, r, http.StatusBadRequest, "entry_wrong_form")
		return
	case do == "pause":
		_, err = p.Desk.Pause(ctx, k.ID, r.PostFormValue("pause"), by, now)
		if err != nil {
			p.memberPage(w, r, http.StatusUnprocessableEntity, nil, err.Error(), "")
			return
		}
	case do == members.InviteByLink || do == members.InviteByText:
		list, fault := p.Desk.Invite(ctx, []string{k.ID}, do, by, now)
		if err = fault; err == nil && !list[0].Sent {
			p.memberPage(w, r, http.StatusOK, nil, "", list[0].Link)
			return
		}
	case do == "give":
		p.giveMember(w, r, &k, by)
		return
	case do == "forget" && r.PostFormValue("sure") == "yes":
		_, err = p.Desk.ForgetAll(ctx, k.ID, by, now)
		done = v.Base + "/desk/members"
	default:
		p.memberPage(w, r, http.StatusUnprocessableEntity, nil, v.T("desk_sure"), "")
		return
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	http.Redirect(w, r, done+"?done=done_member", http.StatusSeeOther)
}

// giveMember sends all that is kept of somebody, as a file.
func (p *Pages) giveMember(w http.ResponseWriter, r *http.Request, k *members.Kept, by members.Author) {
	all, err := p.Desk.Give(r.Context(), k.ID, by, p.Now())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Disposition", `attachment; filename="thawline-`+k.ID+`.json"`)
	out := json.NewEncoder(w)
	out.SetIndent("", "  ")
	_ = out.Encode(all) // whoever asked has gone
}

func (p *Pages) saveMember(w http.ResponseWriter, r *http.Request, v *view, k *members.Kept, fresh bool) {
	values, shown := maps.Clone(k.Values), k.Shown()
	id := k.ID
	if fresh {
		id = strings.TrimSpace(r.PostFormValue("id"))
	}
	fields := personFields
	if k.Kind == config.Bush {
		fields = bushFields
	}
	for _, key := range fields {
		given := strings.TrimSpace(r.PostFormValue(key))
		if given == "" && (key == "phone" || key == "email") && r.PostFormValue("no_"+key) == "" {
			continue // stays as it is
		}
		if (key == "latitude" || key == "longitude") && !fresh && given == shownValue(shown, key) {
			continue // told roughly, and not moved
		}
		members.Set(values, key, given)
	}
	if k.Kind == config.Bush {
		values["groups"] = groupsIn(r, values)
	}
	revision := k.Revision
	var was *members.Kept
	if !fresh {
		was = k
	}
	_, _, err := p.Desk.Save(r.Context(), []members.Kept{members.Written(k.Kind, id, values, revision, was)}, v.author(), p.Now())
	var wrong members.Wrong
	switch {
	case errors.As(err, &wrong):
		p.memberPage(w, r, http.StatusUnprocessableEntity, typedIn(values, k, shown), wrong.Error(), "")
	case errors.Is(err, members.ErrOvertaken):
		p.memberPage(w, r, http.StatusConflict, nil, v.T("desk_overtaken"), "")
	case err != nil:
		p.failed(w, r, err)
	default:
		http.Redirect(w, r, v.Base+memberPath(k.Kind, id)+"?done=done_member", http.StatusSeeOther)
	}
}

// typedIn are the values of a form that was wrong, as somebody typed them: a place that they
// left alone is told as it was.
func typedIn(values map[string]any, k *members.Kept, shown map[string]any) map[string]any {
	for _, key := range []string{"latitude", "longitude"} {
		if values[key] == k.Values[key] && shown[key] != nil {
			values[key] = shown[key]
		}
	}
	return values
}

// groupsIn are the groups of a form: one without an id is left out.
func groupsIn(r *http.Request, values map[string]any) []any {
	before, _ := values["groups"].([]any)
	var out []any
	for i := 0; ; i++ {
		prefix := fmt.Sprintf("groups.%d.", i)
		if _, given := r.PostForm[prefix+"id"]; !given {
			return out
		}
		id := strings.TrimSpace(r.PostFormValue(prefix + "id"))
		if id == "" {
			continue
		}
		of := map[string]any{}
		if i < len(before) {
			if was, is := before[i].(map[string]any); is {
				of = was
			}
		}
		for _, key := range groupFields {
			members.Set(of, key, strings.TrimSpace(r.PostFormValue(prefix+key)))
		}
		out = append(out, of)
	}
}

// membersLog are the newest changes to members.
func (p *Pages) membersLog(w http.ResponseWriter, r *http.Request) {
	v := p.deskView(w, r)
	list, err := p.Desk.Log(r.Context(), "", "", mostMembers)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	v.Title, v.Body = v.T("desk_log"), p.logLines(v, list)
	p.send(w, r, http.StatusOK, "memberlog", v)
}

// withDesk keeps pages of members from where there are none.
func (p *Pages) withDesk(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p.Desk == nil {
			p.fault(w, r, http.StatusNotFound, "fault_not_found")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// deskView is a view of all bushes together.
func (p *Pages) deskView(w http.ResponseWriter, r *http.Request) *view {
	v := p.view(w, r, "desk")
	v.Site, v.Now = nil, ""
	return v
}
