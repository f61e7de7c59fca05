package weather

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

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

// The finest course holds the members' mean for a day, and half as much three days
// ahead; two days later they are on their own.
const (
	centredHours = 24.0
	freeHours    = 120.0
)

// centredShare is how much of the members' distance from the course is taken away.
func centredShare(leadHours float64) float64 {
	return HalfCosine(1, 0, min(max((leadHours-centredHours)/(freeHours-centredHours), 0), 1))
}

// dress centres a service's members on the control, and adds the errors that they
// lack: members are more alike than what comes. Few members are each taken several
// times, with errors of their own.
func dress(members []Series, control *Series, clearWM2 []float64, place Place, issued time.Time, seed uint64) []Series {
	hours := members[0].Hours()
	lead0 := control.Start().Sub(issued).Hours()
	own := make([]float64, hours)
	at := make([]float64, len(members))
	for i := range hours {
		for m := range members {
			at[m] = members[m].At(TemperatureC, i)
		}
		mean, sd := meanSD(at)
		own[i] = sd
		shift := centredShare(float64(i)+lead0) * (control.At(TemperatureC, i) - mean)
		for m := range members {
			members[m].shift(i, shift) // humidity follows with the errors
		}
	}
	axis := control.Slice(0, hours)
	ownSun := !slices.Equal(members[0].Col(ShortwaveWM2), axis.Col(ShortwaveWM2))
	ownWind := !slices.Equal(members[0].Col(WindSpeedMS), axis.Col(WindSpeedMS))
	rng := rand.New(rand.NewPCG(seed, 0x64726573732d6974))
	count := len(members) * max(MemberCount/len(members), 1)
	var out []Series
	draws := drawErrors(&axis, place, issued, rng, own, count/2)
	for k := range count {
		m := &members[k%len(members)]
		if count%2 == 1 && k == count-1 { // without a fellow of opposite error
			m.humidityFromDew()
			out = append(out, m.Slice(0, hours))
			break
		}
		errs, sign := draws[k/2], float64(1-2*(k%2))
		if ownSun {
			clear(errs.sunLog)
		}
		if ownWind {
			clear(errs.windLog)
		}
		out = append(out, errs.apply(m, clearWM2, sign))
	}
	return out
}

// shift moves an hour's temperature, and its dew point with it; humidity is left.
func (s *Series) shift(hour int, byK float64) {
	temperature, dew := s.Col(TemperatureC), s.Col(DewPointC)
	temperature[hour] += byK
	if !math.IsNaN(dew[hour]) {
		dew[hour] = min(dew[hour]+byK, temperature[hour])
	}
}

func (s *Series) humidityFromDew() {
	temperature, dew, humidity := s.Col(TemperatureC), s.Col(DewPointC), s.Col(RelativeHumidityPct)
	for i := range dew {
		if !math.IsNaN(dew[i]) {
			humidity[i] = RelativeHumidityFrom(temperature[i], dew[i])
		}
	}
}

// loseMeanError adds a correction, K by hour.
func loseMeanError(s *Series, byK []float64) {
	for i, k := range byK {
		s.shift(i, k)
	}
	s.humidityFromDew()
}
