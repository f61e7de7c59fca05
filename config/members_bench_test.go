package config

import (
	"fmt"
	"strings"
	"testing"
)

// BenchmarkAdd takes 1,000 bushes with a keeper each into the settings.
func BenchmarkAdd(b *testing.B) {
	var t strings.Builder
	t.WriteString("id,name,latitude,longitude,zone,taps,collected_by,container,person,person_name,role,phone,quiet_hours\n")
	for i := range 1000 {
		fmt.Fprintf(&t, "bush%d,Bush %d,45.1,-73,America/Toronto,50,pail,7.5 L,keeper%d,Keeper,keeper,+1819%07d,21:00-06:00\n", i, i, i, i)
	}
	described, problems := ReadMembers("members.csv", []byte(t.String()))
	if len(described) != 2000 || len(problems) > 0 {
		b.Fatal(len(described), problems)
	}
	for b.Loop() {
		c := Config{Language: "en"}
		if c.Add(described); len(c.People) != 1000 {
			b.Fatal(len(c.People), c.Warnings)
		}
	}
}
