package web_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"thawline/config"
	"thawline/forecast"
)

// sixGroups are three more groups, and somebody free at any time of daylight.
func sixGroups(c *config.Config) {
	twoHelpers(c)
	for i, id := range []string{"knoll", "brook", "orchard"} {
		g := c.Sites[0].Groups[i%2]
		g.ID, g.Name = id, []string{"Knoll pails", "Brook bags", "Orchard pails"}[i]
		c.Sites[0].Groups = append(c.Sites[0].Groups, g)
	}
	for day := time.Sunday; day <= time.Saturday; day++ {
		c.People[0].Gathers = append(c.People[0].Gathers, forecast.Free{Who: "wren", Weekday: day, From: 7 * time.Hour, To: 19 * time.Hour})
	}
}

// answers are where the four answers of the first screen end: whether it runs, what to do,
// by when, and how much; and the strip of the week.
const answers = `JSON.stringify((()=>{const bottom=s=>{const e=[...document.querySelectorAll(s)].find(e=>e.getClientRects().length);return e?Math.ceil(e.getBoundingClientRect().bottom):9999};
return {verdict:bottom(".panel h1"),what:bottom(".task h2,.board .round"),when:bottom(".tag,.board h2"),much:bottom(".amount,.plainly"),week:bottom(".week"),menu:Math.floor(document.querySelector(".menu").getBoundingClientRect().top)}})())`

// The first screen of a phone answers whether sap runs, what to do, by when and how much
// without scrolling, and shows the strip of the coming days, in both languages, for a small
// bush and for six groups with three helpers.
func TestBrowserFirstScreen(t *testing.T) {
	ctx := chromium(t)
	for _, bush := range []struct {
		name   string
		change func(*config.Config)
	}{{"small", func(*config.Config) {}}, {"six groups", sixGroups}} {
		w := serveDemo(t, false, 1, bush.change).browser(ctx)
		for _, of := range []string{"lang=en&units=us", "lang=fr&units=metric"} {
			w.open("/site/kettle?" + of)
			w.shot(fmt.Sprintf("first-%s-%s", bush.name, of), 360, false)
			var at map[string]int
			if err := json.Unmarshal([]byte(w.js(answers)), &at); err != nil {
				t.Fatal(err)
			}
			t.Logf("%s, %s: %v", bush.name, of, at)
			for _, answer := range []string{"verdict", "what", "when", "much", "week"} {
				if at[answer] > at["menu"] {
					t.Errorf("%s, %s: %q ends at %d, the screen at %d", bush.name, of, answer, at[answer], at["menu"])
				}
			}
			if over := w.js(`String(document.documentElement.scrollWidth-document.documentElement.clientWidth)`); over != "0" {
				t.Errorf("%s, %s: %s px over the edge", bush.name, of, over)
			}
			w.fitsHands("/site/kettle?" + of)
		}
	}
}

// fitsHands wants no word smaller than 14 pixels and nothing to press lower than 48.
func (w *browser) fitsHands(path string) {
	w.t.Helper()
	small := w.js(`JSON.stringify((()=>{const out=new Set(),walk=document.createTreeWalker(document.body,NodeFilter.SHOW_TEXT);
for(let n;n=walk.nextNode();){const e=n.parentElement;if(!n.data.trim()||e.closest(".aloud,.skip,script,noscript,title,desc")||!e.getClientRects().length)continue;
let size=parseFloat(getComputedStyle(e).fontSize);const svg=e.closest("svg");if(svg&&svg.viewBox.baseVal.width)size*=svg.getBoundingClientRect().width/svg.viewBox.baseVal.width;
if(size<13.9)out.add(size.toFixed(1)+" px: "+n.data.trim().slice(0,30))}
for(const e of document.querySelectorAll("a,button,input:not([type=hidden]),select,summary")){let b=(e.closest("label")||e).getBoundingClientRect();if(!e.getClientRects().length||e.closest(".skip,.aloud,svg")||e.parentElement.tagName=="P"&&e.previousSibling)continue;
if(b.height<47.5||b.width<40)out.add(Math.round(b.width)+" x "+Math.round(b.height)+" to press: "+String(e.innerText||e.name||e.href).slice(0,30))}
return [...out].slice(0,8)})())`)
	var list []string
	if err := json.Unmarshal([]byte(small), &list); err != nil {
		w.t.Fatal(err)
	}
	if slices.Sort(list); len(list) > 0 {
		w.t.Errorf("%s: %q", path, list)
	}
}
