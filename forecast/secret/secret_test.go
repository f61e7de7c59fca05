package secret

import (
	"encoding/json"
	"fmt"
	"testing"
)

func TestSecretsArePrintedNowhere(t *testing.T) {
	s := New("k3y")
	text, err := json.Marshal(s)
	if err != nil || string(text) != `"(hidden)"` || fmt.Sprint(s) != "(hidden)" ||
		fmt.Sprintf("%#v %+v", s, s) != "secret.Text{(hidden)} (hidden)" {
		t.Errorf("%s %v", text, err)
	}
	if !s.Given() || s.Reveal() != "k3y" || New("").Given() || New("").String() != "" {
		t.Error("the text is lost")
	}
}
