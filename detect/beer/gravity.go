package beer

import "fmt"

// Limits of gravity, SG 20/20.
const (
	lowestWort     = 1.000 // Plato and SG: water
	highestGravity = 1.110 // Plato and SG: 25.9 degP
	lowestGravity  = 0.985 // ApparentPlato: about the driest strong beer that can be
)

// The extract polynomial, degrees of sucrose by mass from SG 20/20: the cubic published for the table of the US National
// Bureau of Standards, Circular 440 (Bates and others, "Polarimetry, Saccharimetry and the Sugars", 1942, table 114),
// SG 1.00000 to 1.17874, rms error 0.0009. Degrees Plato are that scale.
//
// Why this one: the cubic fitted to the extract table of the ASBC, and Buhl's (OSF preprint 9wfym), agree with it within
// 0.003 degP where they hold, up to SG 1.083; this one goes on to the end of the range that brewers use, and its table
// can be looked up. Its largest error is at water, which it puts at -0.005 degP.
const (
	extractCubic  = 182.46007
	extractSquare = -775.68212
	extractLinear = 1262.7794
	extractZero   = -669.56218
)

// PlatoPerPoint is what 0.001 SG ("a point") is worth in degrees Plato near the end of fermentation, degP: the slope of
// the extract polynomial at SG 1.010. It is 0.259 at 1.000 and 0.241 at 1.040, so a difference converted by it is good to
// 2 % below SG 1.020 and 6 % below 1.040.
const PlatoPerPoint = 0.254

// extractOf is the polynomial, without limits.
func extractOf(sg float64) float64 {
	return ((extractCubic*sg+extractSquare)*sg+extractLinear)*sg + extractZero
}

// extractSlope is the polynomial's derivative, degP per SG. It is positive everywhere.
func extractSlope(sg float64) float64 {
	return (3*extractCubic*sg+2*extractSquare)*sg + extractLinear
}

// Plato returns the extract in degrees Plato (g in 100 g) of a wort or beer of gravity sg (SG 20/20), 1.000 to 1.110.
// Error at most 0.005 degP against the table. Source: NBS Circular 440, see the polynomial above.
func Plato(sg float64) (float64, error) {
	if err := within("gravity", "SG", sg, lowestWort, highestGravity); err != nil {
		return 0, err
	}
	return max(0, extractOf(sg)), nil
}

// SG returns the gravity (SG 20/20) of a wort or beer of plato degrees Plato, 0 to 25.9: Plato solved for the gravity.
// Error at most 0.00002 SG.
func SG(plato float64) (float64, error) {
	if err := within("extract", "degP", plato, 0, extractOf(highestGravity)); err != nil {
		return 0, err
	}
	return max(lowestWort, gravityOf(plato)), nil
}

// ApparentPlato is Plato for the hot path and for dry beer: no error, and the polynomial carried on below water, where
// alcohol puts the gravity of a dry beer (common practice: such an extract is only apparent). Held to SG 0.985 to 1.110;
// a gravity beyond gives the value at the limit.
func ApparentPlato(sg float64) float64 {
	return extractOf(clamp(sg, lowestGravity, highestGravity))
}

// ApparentGravity is the inverse of ApparentPlato for the hot path: no error. An extract beyond its range gives the
// gravity at the limit.
func ApparentGravity(plato float64) float64 {
	return gravityOf(clamp(plato, extractOf(lowestGravity), extractOf(highestGravity)))
}

// apparentGravity is the inverse of ApparentPlato over its whole range.
func apparentGravity(plato float64) (float64, error) {
	if err := within("extract", "degP", plato, extractOf(lowestGravity), extractOf(highestGravity)); err != nil {
		return 0, err
	}
	return gravityOf(plato), nil
}

// gravityOf solves the polynomial by Newton's method. The curve is smooth and nearly straight, so from water's slope six
// steps reach the last digit anywhere in the range.
func gravityOf(plato float64) float64 {
	sg := 1 + plato/extractSlope(1)
	for range 6 {
		sg -= (extractOf(sg) - plato) / extractSlope(sg)
	}
	return sg
}

// within refuses a figure outside the range for which its formula was published.
func within(what, unit string, value, low, high float64) error {
	if value >= low && value <= high {
		return nil
	}
	return fmt.Errorf("%w: %s %.6g %s; the formula holds from %.4g to %.4g %s", ErrRange, what, value, unit, low, high, unit)
}

// clamp holds a figure inside low to high.
func clamp(value, low, high float64) float64 { return min(max(value, low), high) }
