package app

import (
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Of what the kernel says is mapped (from memory, proc(5)) only the program's own text and
// constants are given back: nothing that can be written to or was, and no other file's.
func TestOnlyWhatNobodyWroteToIsUnmapped(t *testing.T) {
	const smaps = `00400000-01a00000 r-xp 00000000 fe:00 131 /usr/bin/thawline
Size:              22528 kB
Rss:               20000 kB
Private_Dirty:         0 kB
Anonymous:             0 kB
VmFlags: rd ex mr mw me sd
01a00000-02e00000 r--p 01600000 fe:00 131 /usr/bin/thawline
Anonymous:             0 kB
02e00000-02e80000 r--p 02a00000 fe:00 131 /usr/bin/thawline
Anonymous:             4 kB
02e80000-02f00000 rw-p 02a80000 fe:00 131 /usr/bin/thawline
Anonymous:             0 kB
02f00000-02f40000 rw-p 00000000 00:00 0
Anonymous:             0 kB
c000000000-c000400000 rw-p 00000000 00:00 0 [anon: Go: heap]
Anonymous:          4096 kB
7f0000000000-7f0000100000 r-xp 00000000 fe:00 77 /usr/lib/other
Anonymous:             0 kB
7f0000100000-7f0000200000 r--s 00000000 fe:00 131 /usr/bin/thawline
Anonymous:             0 kB
7f0000200000-7f0000300000 r--p 00000000 fe:00 9 /usr/bin/thawline (deleted)
Anonymous:             0 kB
`
	got := mappedFrom(strings.NewReader(smaps), "/usr/bin/thawline")
	if want := []mapping{{0x400000, 0x1600000}, {0x1a00000, 0x1400000}}; !slices.Equal(got, want) {
		t.Errorf("%x, want %x", got, want)
	}
	if got := mappedFrom(strings.NewReader("7-3 r-xp 0 0 0 /a\nAnonymous: 0 kB\nx-y r-xp 0 0 0 /a\nAnonymous: 0 kB\n"), "/a"); got != nil {
		t.Errorf("%x of ranges that are none", got)
	}
}

// The program goes on from its file, with less of it in memory.
func TestProgramGoesOnUnmapped(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the system does not say what is mapped")
	}
	fileKB := func() int {
		status, err := os.ReadFile("/proc/self/status")
		if err != nil {
			t.Fatal(err)
		}
		_, after, _ := strings.Cut(string(status), "RssFile:")
		n, err := strconv.Atoi(strings.Fields(after)[0])
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := fileKB()
	unmapProgram()
	if after := fileKB(); after > before*2/3 {
		t.Errorf("%d kB of %d are still mapped", after, before)
	}
}
