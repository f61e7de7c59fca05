package season

import "math"

// Later is the opening of buds that open so many days after these, known less well by so
// many days.
func (o Opening) Later(days, sdDays float64) Opening {
	out := Opening{}
	for i := range o.mean {
		out.mean, out.sd = append(out.mean, o.mean[i]+days), append(out.sd, math.Hypot(o.sd[i], sdDays))
	}
	return out
}
