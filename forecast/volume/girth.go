package volume

import "math"

// UsualStemM is the width of a usual stem at breast height, metres: one that takes one
// taphole (common practice).
const UsualStemM = 0.3

// A tap gives more in a thicker stem, about evenly: buckets at ten places from Kentucky to
// Quebec 0.725 US gallons of sap a season for each inch of its width, less 1.26 (324 trees;
// Rademacher et al. 2023), and tubing under vacuum in Vermont 0.056 gallons of syrup, less
// 0.059 (some fifty trees in 2016 and 2017; Isselhardt et al. 2018, "Tree Size Matters"),
// both as a public forest model quotes them, and not read in the papers. That is 3.9 and
// 3.7 % of a usual stem's for each centimetre; the flow itself adds 9 % at the thinnest and
// takes 8 % off at the thickest, as wood freezes through the slower (verify's test of girth).
const (
	girthPerM = 4.0
	thinnestM = 0.2 // thinner ones are not tapped (common practice)
	thickestM = 0.8
)

// Girth is how many times as much a tap yields in a stem so wide at breast height as in a
// usual one: from 0.6 to 3, rising between 20 and 80 cm; 1 where the width is not known (0).
func Girth(diameterM float64) float64 {
	if !(diameterM > 0) {
		return 1
	}
	return 1 + girthPerM*(min(max(diameterM, thinnestM), thickestM)-UsualStemM)
}

// InStems is what is held of the yield where stems are so wide at breast height, metres; 0
// for the usual.
func (b Belief) InStems(diameterM float64) Belief {
	b.LogMean += math.Log(Girth(diameterM))
	return b
}
