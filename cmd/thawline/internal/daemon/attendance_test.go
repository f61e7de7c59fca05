package daemon

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// crewOfTwo is a bush of three groups on the evening before a run, with Ana in the afternoon, Bo
// by day, and a viewer; outlooks are made again as the program does.
func crewOfTwo(t *testing.T) (w *texter, plan func() *forecast.Work) {
	t.Helper()
	site, truth := kettle(t)
	site.Groups, site.TreeDiameterM = nil, forecast.UsualDiameterM
	for _, id := range []string{"north", "south", "east"} {
		site.Groups = append(site.Groups,
			forecast.Group{ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Taps: 60, Method: "tubing_vacuum", VacuumKPa: 47,
				ContainerL: 7, Tapped: time.Date(2026, 3, 1, 8, 0, 0, 0, site.Zone)})
	}
	for day := time.Sunday; day <= time.Saturday; day++ {
		site.Gathering.Free = append(site.Gathering.Free,
			forecast.Free{Who: "ana", Weekday: day, From: 14 * time.Hour, To: 18 * time.Hour},
			forecast.Free{Who: "bo", Weekday: day, From: 9 * time.Hour, To: 17 * time.Hour})
	}
	site.Gathering.People = []forecast.PersonName{{ID: "ana", Name: "Ana"}, {ID: "bo", Name: "Bo"}}
	box := &recorder{}
	now := time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	s := settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": box})
	person := func(id, name, role, language string) channel.Person {
		return channel.Person{ID: id, Name: name, Role: role, Reader: message.Reader{Language: language, Units: units.US},
			Ways: []channel.Way{{Channel: "text", To: id}}}
	}
	s.People = []channel.Person{person("ana", "Ana", "crew", "en"), person("bo", "Bo", "crew", "fr"),
		person("vi", "Vi", "viewer", "en"), person("cy", "Cy", "keeper", "en")}
	d := started(t, filepath.Join(t.TempDir(), "crew.db"), s, now)
	d.Step(t.Context(), now)
	d.Remake(t.Context(), now)
	w = &texter{t, d, box, now}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			select {
			case <-ctx.Done():
				return
			case <-d.Archive.Written():
				d.Remake(ctx, now)
			}
		}
	}()
	t.Cleanup(func() { stop(); <-ended })
	return w, func() *forecast.Work { return &d.Outlook(context.Background(), "kettle").Work }
}

// texts is what somebody gets back for a text.
func (w *texter) texts(person int, text string) string {
	w.t.Helper()
	w.at = w.at.Add(time.Minute)
	ctx := context.Background()
	w.d.deliver(ctx, w.at)
	w.box.got = nil
	if err := w.d.heard(ctx, &w.d.settings.Sites[0], &w.d.settings.People[person], text, "", w.at); err != nil {
		w.t.Fatal(err)
	}
	w.d.deliver(ctx, w.at)
	for _, m := range w.box.got {
		if m.To == w.d.settings.People[person].ID {
			return m.Text
		}
	}
	w.t.Errorf("%q: no answer", text)
	return ""
}

func roundsOf(w *forecast.Work) string {
	var b strings.Builder
	for i := range w.Rounds {
		r := &w.Rounds[i]
		fmt.Fprintf(&b, "%s-%s %v", r.Start.Format("Mon 15:04"), r.End.Format("15:04"), r.Who)
		for _, g := range r.Groups {
			fmt.Fprintf(&b, " %s %.0f", g.Group, g.VolumeL)
		}
		if r.Pinned {
			b.WriteString(" pinned")
		}
		b.WriteString("\n")
	}
	return b.String()
}

// "I go" and "can't" by text, in both languages: the answer says what is planned now, which
// every surface shows at once; undo gives the plan back as it was.
func TestWhoGoesByText(t *testing.T) {
	w, plan := crewOfTwo(t)
	free := roundsOf(plan())
	for _, c := range []struct{ text, says, pinned string }{
		{"I go", "Thanks: Ana and Bo take North, South and East, Sat 3 pm to 5 pm: ", "Sat 15:00-16:50 [ana bo]"},
		{"J’y vais", "Thanks: Ana and Bo take North, South and East, Sat 3 pm to 5 pm: ", "Sat 15:00-16:50 [ana bo]"},
		{"go 2 pm", "Thanks: Ana and Bo take North, South and East, Sat 2 pm to 4 pm: ", "Sat 14:00-"},
		{"go north tomorrow 16h30", "Thanks: Ana and Bo take North, Sat 4:30 pm to 5:30 pm: ", "Sat 16:30-"},
		{"can't", "Noted: Ana can't Sat 3 pm to 5 pm. Now planned: Bo: North, South and East, Sat 9 am to 12:30 pm; ", ""},
		{"can't tomorrow", "Noted: Ana can't on Saturday 21 Mar. Now planned: Bo: North, South and East, Sat 9 am to 12:30 pm; ", ""},
	} {
		began := time.Now()
		said := w.texts(0, c.text)
		if took := time.Since(began); took > 2*time.Second {
			t.Errorf("%q: after %s", c.text, took)
		}
		if !strings.HasPrefix(said, c.says) {
			t.Errorf("%q: %s, want %s", c.text, said, c.says)
		}
		now := roundsOf(plan())
		if c.pinned != "" && !strings.Contains(now, c.pinned) || strings.Contains(now, "pinned") != (c.pinned != "") {
			t.Errorf("%q:\n%s", c.text, now)
		}
		if c.pinned == "" && strings.Contains(now, "Sat 15:00-16:50 [ana") {
			t.Errorf("%q: she goes:\n%s", c.text, now)
		}
		if said = w.texts(0, "undo"); !strings.HasPrefix(said, "Taken back.") || roundsOf(plan()) != free {
			t.Errorf("%q: %s\n%s", c.text, said, roundsOf(plan()))
		}
	}
	if said := w.texts(0, "undo"); said != "There is nothing of yours to take back." {
		t.Error(said)
	}
	for _, c := range []struct{ text, says string }{
		{"j'y vais", "Merci : Bo prend "},
		{"peux pas demain", "Noté : Bo ne peut pas samedi 21 mars. Le plan : Ana : North, South et East, "},
	} {
		if said := w.texts(1, c.text); !strings.HasPrefix(said, c.says) {
			t.Errorf("%q: %s, want %s", c.text, said, c.says)
		}
	}
	// Bo's day off stands beside what he said before of that morning, which it has replaced.
	if now := roundsOf(plan()); strings.Contains(now, "Sat 09:00-12:20 [bo]") || strings.Contains(now, "pinned") {
		t.Error(now)
	}
}

// A viewer may not; who is on no round is asked when; who is on none moves nobody's round by
// "can't"; one text that comes twice is one.
func TestWhoMaySayByText(t *testing.T) {
	w, plan := crewOfTwo(t)
	free := roundsOf(plan())
	for person, texts := range map[int]map[string]string{
		2: {"I go": "Nothing was written down.", "can't": "Nothing was written down.", "can't tomorrow": "Nothing was written down."},
		3: {"I go": "Write when you go, like: go 4 pm.", "can't": "You are not on a round",
			"can't Saturday": "Noted: Cy can't on Saturday 21 Mar."},
		0: {"go 4 gal": "When? Write it like: go 4 pm", "can't monday tomorrow": "When?"},
	} {
		for text, says := range texts {
			if said := w.texts(person, text); !strings.Contains(said, says) {
				t.Errorf("%d, %q: %s, want %s", person, text, said, says)
			}
			if now := roundsOf(plan()); now != free {
				t.Errorf("%d, %q:\n%s", person, text, now)
			}
		}
	}
	w.texts(0, "I go")
	for range 2 { // a gateway that calls again
		if err := w.d.heard(t.Context(), &w.d.settings.Sites[0], &w.d.settings.People[0], "I go", "", w.at); err != nil {
			t.Fatal(err)
		}
	}
	if said, err := Attendance(t.Context(), w.d.Archive, &w.d.settings.Sites[0], w.at); err != nil || len(said) != 2 { // and Cy's
		t.Errorf("%v %+v", err, said)
	}
	// UNDO takes back what was written last, whatever it was.
	w.texts(0, "north 20 gal")
	for _, says := range []string{"Taken back: North Fri 20 Mar", "Taken back. Now planned", "nothing of yours"} {
		if said := w.texts(0, "undo"); !strings.Contains(said, says) {
			t.Errorf("undo: %s, want %s", said, says)
		}
	}
	if said := w.texts(3, "go tomorrow 3 pm"); !strings.HasPrefix(said, "Thanks: Cy takes ") && !strings.HasPrefix(said, "Noted: Cy") {
		t.Errorf("a keeper without hours: %s", said)
	}
}
