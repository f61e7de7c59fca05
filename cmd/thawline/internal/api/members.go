package api

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
)

// MemberPath names a bush or person of the association.
type MemberPath struct {
	Kind string `path:"kind" enum:"bush,person"`
	ID   string `path:"id" maxLength:"40"`
}

// MemberBody is a bush or person by the keys of the settings file.
type MemberBody struct {
	Kind     string         `json:"kind"`
	ID       string         `json:"id"`
	Revision int            `json:"revision"`
	Values   map[string]any `json:"values" doc:"as a settings file would say it; numbers and addresses show their last digits alone"`
}

func memberBody(k *members.Kept) MemberBody {
	return MemberBody{k.Kind, k.ID, k.Revision, k.Shown()}
}

type memberAnswer struct {
	Body MemberBody
}

// desk is the office, for those who may see every bush.
func (s *server) desk(ctx context.Context) (*members.Desk, members.Author, error) {
	v := auth.From(ctx)
	if s.Desk == nil || !v.SeesAll() && v.Scopes == nil || v.Site != "" {
		return nil, members.Author{}, huma.Error404NotFound("no members are kept here for you")
	}
	return s.Desk, members.Author{Name: v.Name, Way: members.ByAPI}, nil
}

// memberFault is what a program can put right, else a fault that is logged.
func (s *server) memberFault(doing string, err error) error {
	var wrong members.Wrong
	switch {
	case errors.As(err, &wrong):
		var all []error
		for _, p := range wrong {
			all = append(all, &huma.ErrorDetail{Location: "body." + p.Key, Message: p.What + "; " + p.Remedy})
		}
		return huma.Error422UnprocessableEntity(nothingWritten, all...)
	case errors.Is(err, members.ErrNone):
		return huma.Error404NotFound(err.Error())
	case errors.Is(err, members.ErrOvertaken):
		return huma.Error412PreconditionFailed(err.Error())
	}
	return s.failed(doing, err)
}

func (s *server) members() {
	type listed struct {
		Body struct {
			Members []MemberBody `json:"members"`
		}
	}
	add(s, auth.ReadMembers, huma.Operation{OperationID: "list-members", Method: http.MethodGet, Path: "/members",
		Summary: "List bushes and people", Description: "All bushes and people that the database keeps."},
		func(ctx context.Context, _ *struct{}) (*listed, error) {
			d, _, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			all, err := d.All(ctx)
			if err != nil {
				return nil, s.failed("list members", err)
			}
			out := &listed{}
			out.Body.Members = []MemberBody{}
			for i := range all {
				out.Body.Members = append(out.Body.Members, memberBody(&all[i]))
			}
			return out, nil
		})
	add(s, auth.ReadMembers, huma.Operation{OperationID: "get-member", Method: http.MethodGet, Path: "/members/{kind}/{id}",
		Summary: "Get a bush or person"},
		func(ctx context.Context, in *MemberPath) (*memberAnswer, error) {
			d, _, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			k, err := d.One(ctx, in.Kind, in.ID)
			if err != nil {
				return nil, s.memberFault("get a member", err)
			}
			return &memberAnswer{memberBody(&k)}, nil
		})
	type put struct {
		MemberPath
		IfMatch string `header:"If-Match" doc:"the revision that is changed, in quotes; without it whatever is there"`
		Body    struct {
			Values map[string]any `json:"values" doc:"as a settings file would say it; a phone or email that is left out stays"`
		}
	}
	add(s, auth.WriteMembers, huma.Operation{OperationID: "put-member", Method: http.MethodPut, Path: "/members/{kind}/{id}",
		Summary: "Add or change a bush or person", Errors: []int{http.StatusPreconditionFailed}},
		func(ctx context.Context, in *put) (*memberAnswer, error) {
			d, by, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			revision := members.Any
			if n, err := strconv.Atoi(strings.Trim(in.IfMatch, `"`)); err == nil {
				revision = n
			}
			var before *members.Kept
			if k, err := d.One(ctx, in.Kind, in.ID); err == nil {
				before = &k
			} else if !errors.Is(err, members.ErrNone) {
				return nil, s.failed("read a member", err)
			}
			if in.Body.Values == nil {
				in.Body.Values = map[string]any{}
			}
			if _, _, err := d.Save(ctx, []members.Kept{members.Written(in.Kind, in.ID, in.Body.Values, revision, before)}, by,
				s.Now()); err != nil {
				return nil, s.memberFault("write a member", err)
			}
			k, err := d.One(ctx, in.Kind, in.ID)
			if err != nil {
				return nil, s.memberFault("read a member", err)
			}
			return &memberAnswer{memberBody(&k)}, nil
		})
	add(s, auth.WriteMembers, huma.Operation{OperationID: "remove-member", Method: http.MethodDelete, Path: "/members/{kind}/{id}",
		Summary: "Take a bush or person out", Description: "Its records stay.", DefaultStatus: http.StatusNoContent},
		func(ctx context.Context, in *MemberPath) (*struct{}, error) {
			d, by, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			if err := d.Remove(ctx, in.Kind, in.ID, by, s.Now()); err != nil {
				return nil, s.memberFault("take a member out", err)
			}
			return nil, nil
		})
	s.membersAtOnce()
	s.membersWork()
}

// membersAtOnce takes tables.
func (s *server) membersAtOnce() {
	type ask struct {
		Invite  string `query:"invite" enum:"link,text" doc:"how the people who are new are invited; without it they are not"`
		RawBody []byte `contentType:"text/csv"`
	}
	type answer struct{ Body *members.Imported }
	op := huma.Operation{OperationID: "import-members", Method: http.MethodPost, Path: "/members/import",
		Summary:     "Take bushes and people from a CSV table",
		Description: "The columns of a table of sites, and phone and email. What is wrong is left out and told; the same table again changes nothing."}
	add(s, auth.WriteMembers, op, func(ctx context.Context, in *ask) (*answer, error) {
		d, by, err := s.desk(ctx)
		if err != nil {
			return nil, err
		}
		by.Way = members.ByCSV
		done, err := d.Import(ctx, "table", in.RawBody, in.Invite, by, s.Now())
		if err != nil {
			return nil, s.memberFault("import members", err)
		}
		return &answer{done}, nil
	})
}

// membersWork is what is done with people: pause, invite, give, forget, and the log of it.
func (s *server) membersWork() {
	type person struct {
		ID string `path:"id" maxLength:"40"`
	}
	type pause struct {
		ID   string `path:"id" maxLength:"40"`
		Body struct {
			For string `json:"for" doc:"such as 5 days, or the day on which messages come again; no to end it" example:"5 days"`
		}
	}
	type paused struct {
		Body struct {
			Until string `json:"paused_until" doc:"the day on which messages come again, empty for now"`
		}
	}
	add(s, auth.WriteMembers, huma.Operation{OperationID: "pause-member", Method: http.MethodPost, Path: "/members/person/{id}/pause",
		Summary: "Keep messages from a person for a while", Errors: []int{http.StatusUnprocessableEntity}},
		func(ctx context.Context, in *pause) (*paused, error) {
			d, by, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			until, err := d.Pause(ctx, in.ID, in.Body.For, by, s.Now())
			if errors.Is(err, members.ErrNone) {
				return nil, huma.Error404NotFound(err.Error())
			}
			if err != nil {
				return nil, huma.Error422UnprocessableEntity(err.Error())
			}
			out := &paused{}
			out.Body.Until = until
			return out, nil
		})
	type invite struct {
		ID string `path:"id" maxLength:"40"`
		By string `query:"by" enum:"link,text" default:"link"`
	}
	type invited struct{ Body members.Invite }
	add(s, auth.WriteMembers, huma.Operation{OperationID: "invite-member", Method: http.MethodPost, Path: "/members/person/{id}/invite",
		Summary: "Invite a person to choose a password"},
		func(ctx context.Context, in *invite) (*invited, error) {
			d, by, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			list, err := d.Invite(ctx, []string{in.ID}, in.By, by, s.Now())
			if err != nil {
				return nil, s.memberFault("invite", err)
			}
			return &invited{list[0]}, nil
		})
	type all struct{ Body map[string]any }
	add(s, auth.WriteMembers, huma.Operation{OperationID: "give-member", Method: http.MethodGet,
		Path: "/members/person/{id}/everything", Summary: "All that is kept of a person and their bushes"},
		func(ctx context.Context, in *person) (*all, error) {
			d, by, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			body, err := d.Give(ctx, in.ID, by, s.Now())
			if err != nil {
				return nil, s.memberFault("give all", err)
			}
			return &all{body}, nil
		})
	type forgot struct{ Body *members.Forgot }
	add(s, auth.WriteMembers, huma.Operation{OperationID: "forget-member", Method: http.MethodPost, Path: "/members/person/{id}/forget",
		Summary: "Forget a person, and the bushes that nobody else has with all their records"},
		func(ctx context.Context, in *person) (*forgot, error) {
			d, by, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			gone, err := d.ForgetAll(ctx, in.ID, by, s.Now())
			if err != nil {
				return nil, s.memberFault("forget", err)
			}
			return &forgot{gone}, nil
		})
	type page struct {
		Kind string `query:"kind" enum:"bush,person"`
		ID   string `query:"id" doc:"of one bush or person; without it all changes"`
	}
	type log struct {
		Body struct {
			Changes []members.Line `json:"changes"`
		}
	}
	add(s, auth.ReadMembers, huma.Operation{OperationID: "log-members", Method: http.MethodGet, Path: "/members/log",
		Summary: "Who changed what, before and after, the newest first"},
		func(ctx context.Context, in *page) (*log, error) {
			d, _, err := s.desk(ctx)
			if err != nil {
				return nil, err
			}
			if in.Kind == "" {
				in.Kind = config.Member
			}
			list, err := d.Log(ctx, in.Kind, in.ID, mostChanges)
			if err != nil {
				return nil, s.failed("read the log", err)
			}
			out := &log{}
			out.Body.Changes = members.Lines(list)
			return out, nil
		})
}

const mostChanges = 1000
