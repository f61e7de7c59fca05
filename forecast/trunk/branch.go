package trunk

// BranchRadiusM is a branch of the crown, small enough that its wood has one
// temperature. Branches follow the air within the hour and lead the run.
const BranchRadiusM = 0.012

// Branch is the state of such a branch: its enthalpy in J/m³.
type Branch struct{ enthalpy float64 }

// NewBranch returns a branch of the given temperature in °C.
func (w *Wood) NewBranch(temperatureC float64) Branch { return Branch{w.enthalpy(temperatureC)} }

// BranchIceFraction is the share of the branch's freezable water that is frozen.
func (w *Wood) BranchIceFraction(b *Branch) float64 { return w.iceFraction(b.enthalpy) }

// HourOfBranch moves the branch by one hour: backward Euler, solved exactly
// on the branch of the enthalpy curve where the solution lies.
func (w *Wood) HourOfBranch(b *Branch, bark Bark) {
	// (H - H0) = c (T_air - T(H)), with c = dt h A / V = dt 2 h / r
	c := 3600 * 2 * bark.TransferWM2K / BranchRadiusM
	span := w.latentSpan()
	drive := b.enthalpy + c*(bark.SolAirC-w.FreezingC)
	if drive >= 0 {
		b.enthalpy = drive / (1 + c/w.ThawedJM3K)
		return
	}
	if b.enthalpy = drive / (1 + c*w.FreezingRangeK/span); b.enthalpy <= -span {
		b.enthalpy = (drive + c*(w.FreezingRangeK-span/w.FrozenJM3K)) / (1 + c/w.FrozenJM3K)
	}
}
