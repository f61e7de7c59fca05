package records

import (
	"slices"
	"time"
)

// Attendance is what somebody has said of rounds to come: that they make one, or that
// they can't. It counts until its To.
type Attendance struct {
	Kind     AttendanceKind
	Person   string // id; "" for whoever goes, where nobody has said when they are free
	Name     string // what people call them
	From, To time.Time
	Groups   []string // that they go to; none: the plan chooses
	With     []string // ids of who goes along
	SaidAt   time.Time
}

// AttendanceKind is whether somebody goes.
type AttendanceKind string

// The kinds of attendance.
const (
	Going AttendanceKind = "going"
	Away  AttendanceKind = "away"
)

// Overlaps reports whether two have some time in common.
func (a *Attendance) Overlaps(b *Attendance) bool { return a.From.Before(b.To) && b.From.Before(a.To) }

// Says reports whether two say the same.
func (a *Attendance) Says(b *Attendance) bool {
	if a.Kind != b.Kind || a.Person != b.Person || !a.From.Equal(b.From) || a.Kind == Away && !a.To.Equal(b.To) ||
		len(a.Groups) != len(b.Groups) {
		return false
	}
	return !slices.ContainsFunc(a.Groups, func(g string) bool { return !slices.Contains(b.Groups, g) })
}

// Replaces reports whether what somebody says now takes the place of what they said
// before: who can't go does not, and nobody makes two rounds at once.
func (a *Attendance) Replaces(before *Attendance) bool {
	if a.Person != before.Person || !a.Overlaps(before) {
		return false
	}
	return before.Kind == Going || !before.From.Before(a.From) && !before.To.After(a.To)
}
