package app

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"thawline/cmd/thawline/internal/members"
	"thawline/testdata"
)

// forgottenEverywhere forgets a member of whom there are a bush, records, messages, an
// outlook, forecasts and sessions, and looks through every table, column by column, and every
// file below the folder of data: nothing there names them but the line of the log that says
// so.
func (s *houses) forgottenEverywhere(m *member, also ...string) {
	s.t.Helper()
	ctx := s.t.Context()
	if len(s.kept(m, also)) < 10 {
		s.t.Errorf("only %v names the member before", s.kept(m, also))
	}
	gone, err := s.a.Desk.ForgetAll(ctx, m.person, members.Author{Name: "Office", Way: members.ByPage}, testdata.Now())
	if err != nil {
		s.t.Fatal(err)
	}
	for _, where := range s.kept(m, also) {
		if where != "member_change.member: "+m.person && where != "member_change.member: "+m.id {
			s.t.Errorf("after %d rows were forgotten %s still names them", gone.Rows, where)
		}
	}
	s.settle(testdata.Now())
	if n := s.count(`SELECT COUNT(*) FROM member_change WHERE member IN (?1, ?2)`, m.person, m.id); n != 2 {
		s.t.Errorf("%d lines of the log are of who is forgotten", n)
	}
}

// kept are the columns and files that name a member, and by what.
func (s *houses) kept(m *member, also []string) (found []string) {
	s.t.Helper()
	names := append([]string{m.id, m.person, m.name, m.who, m.phone[1:], m.group, m.note}, also...)
	look := func(where string, data []byte) {
		if z, err := gzip.NewReader(bytes.NewReader(data)); err == nil {
			data, _ = io.ReadAll(z)
		}
		for _, name := range names {
			if strings.Contains(strings.ToLower(string(data)), strings.ToLower(name)) {
				found = append(found, where+": "+name)
				return
			}
		}
	}
	rows, err := s.a.Archive.DB().QueryContext(s.t.Context(), `SELECT name FROM sqlite_master WHERE type = 'table'`)
	if err != nil {
		s.t.Fatal(err)
	}
	var tables []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			s.t.Fatal(err)
		}
		tables = append(tables, name)
	}
	if err := rows.Close(); err != nil {
		s.t.Fatal(err)
	}
	for _, table := range tables {
		rows, err := s.a.Archive.DB().QueryContext(s.t.Context(), `SELECT * FROM `+table)
		if err != nil {
			s.t.Fatal(err)
		}
		columns, _ := rows.Columns()
		for rows.Next() {
			values, into := make([]any, len(columns)), make([]any, len(columns))
			for i := range values {
				into[i] = &values[i]
			}
			if err := rows.Scan(into...); err != nil {
				s.t.Fatal(err)
			}
			for i, value := range values {
				data, is := value.([]byte)
				if !is {
					data = []byte(fmt.Sprint(value))
				}
				look(table+"."+columns[i], data)
			}
		}
		if err := rows.Close(); err != nil {
			s.t.Fatal(err)
		}
	}
	err = filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(d.Name(), ArchiveFile) {
			return err
		}
		look("file name", []byte(d.Name()))
		data, err := os.ReadFile(path)
		look("file "+d.Name(), data)
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return found
}
