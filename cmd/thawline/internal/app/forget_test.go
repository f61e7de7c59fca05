package app

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/cmd/thawline/internal/members"
	"thawline/testdata"
	"thawline/testdata/beside"
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
	all := `SELECT name FROM sqlite_master WHERE type = 'table'`
	if s.a.Archive.Shared() {
		all = `SELECT table_name FROM information_schema.tables WHERE table_schema = current_schema()`
	}
	rows, err := s.a.Archive.DB().QueryContext(s.t.Context(), all)
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

// Where several daemons share a PostgreSQL database, and River does the work, nothing in any
// table names who is forgotten either: neither its jobs nor what they told of
// their faults.
func TestForgottenWhereManyDaemonsShare(t *testing.T) {
	for _, driver := range []string{"local", "river"} {
		t.Run(driver, func(t *testing.T) {
			where := beside.Postgres(t)
			if where == "" {
				t.Skip("THAWLINE_TEST_POSTGRES names no database: PostgreSQL is not tried")
			}
			texts := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if strings.Contains(r.URL.RawQuery, "5551111") { // so that jobs tell of faults
					w.WriteHeader(http.StatusServiceUnavailable)
					return
				}
				w.WriteHeader(http.StatusAccepted)
			}))
			t.Cleanup(texts.Close)
			s := openHouses(t, private, texts.URL, "THAWLINE_DATABASE="+where, "THAWLINE_SERVE_ENGINE="+driver)
			s.fill(private)
			ctx, stop := context.WithCancel(t.Context())
			ended := make(chan error, 1)
			go func() { ended <- s.a.Daemon.Run(ctx) }()
			patiently(t, "messages of all, by text or not", func() bool {
				return s.count(`SELECT COUNT(DISTINCT d.site) FROM attempt a JOIN delivery v ON v.id = a.delivery_id JOIN decision d ON d.id = v.decision_id`) ==
					len(private)
			})
			stop()
			if err := <-ended; err != nil {
				t.Error(err)
			}
			if driver == "river" && s.count(`SELECT COUNT(*) FROM river_job`) == 0 {
				t.Error("no job is left that could name anybody")
			}
			s.forgottenEverywhere(&private[0], "44.6243", "72.3157")
		})
	}
}
