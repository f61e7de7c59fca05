// Package auth decides who may come in and what they may see and do: roles,
// passwords, sessions, links that expire, tokens, and the middleware before all of
// them.
package auth

import (
	"context"
	"slices"
)

// Role is what somebody may do; each role may also do what the ones below it
// may.
type Role string

// The roles, as settings name them.
const (
	Nobody Role = ""
	Viewer Role = "viewer" // looks on
	Crew   Role = "crew"   // gathers: enters rounds, answers messages
	Keeper Role = "keeper" // decides: corrects records, lets others in
)

// May reports whether the role is at least another.
func (r Role) May(need Role) bool {
	order := []Role{Nobody, Viewer, Crew, Keeper}
	return slices.Index(order, r) >= slices.Index(order, need)
}

// Scope is one thing that a token is good for.
type Scope string

// The scopes.
const (
	ReadOutlook  Scope = "outlook:read"
	ReadRecords  Scope = "records:read"
	WriteRecords Scope = "records:write"
	ReadMessages Scope = "messages:read"
	Acknowledge  Scope = "messages:acknowledge" // and read them
	ReadMetrics  Scope = "metrics:read"
	ReadMembers  Scope = "members:read"  // an association's bushes and people
	WriteMembers Scope = "members:write" // and read them
)

// Identity is who asks.
type Identity struct {
	Person string // id in the settings; "" for a link or token of nobody's, and where no login is asked
	Name   string // to be shown, and to be written beside records
	Role   Role
	Site   string   // the only site that may be seen, "" for all
	Sites  []string // of a person whom not all sites concern, nil for all
	Scopes []Scope  // of a token; nil for people, who are bound by their role alone
	Open   bool     // nobody is asked to log in: the address is this machine's alone
}

// Can reports whether who asks may do what a scope names: tokens by their
// scopes, people by their role.
func (v Identity) Can(s Scope) bool {
	if v.Scopes != nil {
		return slices.Contains(v.Scopes, s) || s == ReadMessages && slices.Contains(v.Scopes, Acknowledge) || s == ReadMembers &&
			slices.Contains(v.Scopes, WriteMembers)
	}
	need := map[Scope]Role{ReadOutlook: Viewer, ReadRecords: Viewer, WriteRecords: Crew, ReadMessages: Crew, Acknowledge: Crew,
		ReadMetrics: Keeper, ReadMembers: Keeper, WriteMembers: Keeper}
	return v.Role != Nobody && v.Role.May(need[s])
}

// Sees reports whether who asks may see a site.
func (v Identity) Sees(site string) bool {
	return v.Role != Nobody && (v.Site == "" || v.Site == site) && (v.Sites == nil || slices.Contains(v.Sites, site))
}

// SeesAll reports whether who asks may see every site, and what concerns all
// of them together.
func (v Identity) SeesAll() bool { return v.Role != Nobody && v.Site == "" && v.Sites == nil }

type key struct{}

// With puts an identity into a request's context.
func With(ctx context.Context, v Identity) context.Context { return context.WithValue(ctx, key{}, v) }

// From is who asks in a request; the zero value is nobody.
func From(ctx context.Context) Identity {
	v, _ := ctx.Value(key{}).(Identity)
	return v
}
