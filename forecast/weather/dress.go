package weather

import "math"

// Dressing is how far what comes strays from the mean of members, by an archive:
// members alone are too much alike. Eight members of 2004 (data set srft, 48 hours
// ahead) held a fifth of what came between their tenth and ninetieth parts.
type Dressing struct {
	BiasK float64 // what came less the members' mean
	SDK   float64 // standard deviation of what is left
}

// AddedSDK is the standard deviation of the independent error that members of
// one spread need on top, so that theirs is never below the archive's.
func (d Dressing) AddedSDK(ownSDK float64) float64 {
	return math.Sqrt(max(d.SDK*d.SDK-ownSDK*ownSDK, 0))
}

// Below is the chance of less than at, of dressed members in °C.
func (d Dressing) Below(at float64, membersC []float64) float64 {
	_, own := meanSD(membersC)
	added := d.AddedSDK(own)
	sum := 0.0
	for _, m := range membersC {
		switch x := at - m - d.BiasK; {
		case added > 0:
			sum += math.Erfc(-x/added/math.Sqrt2) / 2
		case x > 0:
			sum++
		}
	}
	return sum / float64(len(membersC))
}

// meanSD is the mean and the standard deviation of a sample.
func meanSD(of []float64) (mean, sd float64) {
	for _, x := range of {
		mean += x / float64(len(of))
	}
	for _, x := range of {
		sd += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(sd / max(float64(len(of)-1), 1))
}
