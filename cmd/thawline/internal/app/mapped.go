package app

import (
	"bufio"
	"io"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// unmapProgram gives back what of the program's own file was read into its memory: a start
// goes through most of it, an idle daemon through a tenth. What is needed again comes back
// from the file. Where the system does not say what is mapped nothing happens.
func unmapProgram() {
	program, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return
	}
	f, err := os.Open("/proc/self/smaps")
	if err != nil {
		return
	}
	defer func() { _ = f.Close() }()
	for _, m := range mappedFrom(f, program) {
		_, _, _ = syscall.Syscall(syscall.SYS_MADVISE, m.begin, m.bytes, syscall.MADV_DONTNEED)
	}
}

type mapping struct{ begin, bytes uintptr }

// mappedFrom are the mappings of a file that nothing can have written to, in the words of
// smaps (proc(5)): private, without the right to write, and without a page of their own, such as
// one that was relocated and then shut.
func mappedFrom(smaps io.Reader, file string) (out []mapping) {
	var now mapping
	for lines := bufio.NewScanner(smaps); lines.Scan(); {
		f := strings.Fields(lines.Text())
		switch {
		case len(f) >= 5 && strings.Contains(f[0], "-"):
			now = mapping{}
			if len(f) >= 6 && strings.Join(f[5:], " ") == file && (f[1] == "r-xp" || f[1] == "r--p") {
				now = between(f[0])
			}
		case len(f) >= 2 && f[0] == "Anonymous:" && f[1] == "0" && now.bytes > 0:
			out = append(out, now)
		}
	}
	return out
}

// between reads a range of addresses.
func between(addresses string) mapping {
	from, to, _ := strings.Cut(addresses, "-")
	begin, err1 := strconv.ParseUint(from, 16, 64)
	end, err2 := strconv.ParseUint(to, 16, 64)
	if err1 != nil || err2 != nil || end <= begin {
		return mapping{}
	}
	return mapping{uintptr(begin), uintptr(end - begin)}
}
