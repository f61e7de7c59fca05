package auth

import (
	"strings"
	"testing"
)

// A token that is withdrawn, and a bush that settings take from a person, are gone at
// the next request; a password is kept as argon2id of the hardness that OWASP advises.
func TestWithdrawnRightsCountAtOnce(t *testing.T) {
	b := opened(t, elsewhere)
	text, err := b.MakeToken(t.Context(), Token{Name: "scale", Scopes: []Scope{ReadRecords}, Days: 10}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	bearer := header("Authorization", "Bearer "+text)
	p := b.phone(t)
	p.must(200, "GET", "/api/who", nil, bearer)
	tokens, err := b.Tokens(t.Context())
	if err != nil || len(tokens) != 1 {
		t.Fatal(err, tokens)
	}
	if err := b.Withdraw(t.Context(), tokens[0].ID); err != nil {
		t.Fatal(err)
	}
	p.must(401, "GET", "/api/who", nil, bearer)

	wren := b.setUp(t)
	var kept string
	if err := b.db.QueryRowContext(t.Context(), `SELECT password_hash FROM account WHERE person = 'wren'`).Scan(&kept); err != nil ||
		!strings.HasPrefix(kept, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("%v: a password is kept as %.30s", err, kept)
	}
	for _, sites := range [][]string{nil, {"hill"}, {}} {
		b.SetSettings(Settings{Listen: elsewhere.Listen, People: []Person{{"wren", "Wren", Keeper, sites}}})
		want := "sees all"
		if sites != nil {
			want = "sees " + strings.Join(sites, " ")
		}
		if said := wren.must(200, "GET", "/sees", nil, nil); said != strings.TrimSpace(want) {
			t.Errorf("%v: %s", sites, said)
		}
	}
}
