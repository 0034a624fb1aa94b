package detect

import "math"

// Quantiles of the normal distribution.
const (
	oneSided95  = 1.645
	oneSided99  = 2.326
	oneSided999 = 3.090
	twoSided95  = 1.96
)

// maxTerms is the most regressors a fit holds: those of a gauge whose relief
// valve has lifted. A float has eleven, hopped twice, read by hand and jumped.
const maxTerms = 12

// fit is a penalised least-squares fit, kept as its normal equations:
// minimise |y - X b|^2 + sum of ridge_i b_i^2. The ridge is what is known
// beforehand of a term: (noise / prior deviation)^2.
type fit struct {
	n     int // terms
	gram  [maxTerms][maxTerms]float64
	xy    [maxTerms]float64
	yy    float64
	count int
	chol  [maxTerms][maxTerms]float64
	beta  [maxTerms]float64
}

// ridges are those of terms with such standard deviations beforehand.
func ridges(priors ...float64) []float64 {
	out := make([]float64, len(priors))
	for i, p := range priors {
		out[i] = 1 / (p * p)
	}
	return out
}

// newFit starts a fit of len(ridge) terms.
func newFit(ridge []float64) fit {
	f := fit{n: len(ridge)}
	for i, r := range ridge {
		f.gram[i][i] = r
	}
	return f
}

// add takes one observation.
func (f *fit) add(x *[maxTerms]float64, y float64) {
	for i := range f.n {
		for j := range i + 1 {
			f.gram[i][j] += x[i] * x[j]
		}
		f.xy[i] += x[i] * y
	}
	f.yy += y * y
	f.count++
}

// solve factors the normal equations (Cholesky) and tells whether it could.
func (f *fit) solve() bool {
	for i := range f.n {
		for j := range i + 1 {
			sum := f.gram[i][j]
			for k := range j {
				sum -= f.chol[i][k] * f.chol[j][k]
			}
			if i != j {
				f.chol[i][j] = sum / f.chol[j][j]
				continue
			}
			if sum <= 1e-12 {
				return false
			}
			f.chol[i][i] = math.Sqrt(sum)
		}
	}
	f.beta = f.inverse(f.xy)
	return true
}

// forward gives L^-1 g, L the Cholesky factor.
func (f *fit) forward(g [maxTerms]float64) [maxTerms]float64 {
	for i := range f.n {
		for k := range i {
			g[i] -= f.chol[i][k] * g[k]
		}
		g[i] /= f.chol[i][i]
	}
	return g
}

// inverse gives (X'X + ridge)^-1 g.
func (f *fit) inverse(g [maxTerms]float64) [maxTerms]float64 {
	g = f.forward(g)
	for i := f.n - 1; i >= 0; i-- {
		for k := i + 1; k < f.n; k++ {
			g[i] -= f.chol[k][i] * g[k]
		}
		g[i] /= f.chol[i][i]
	}
	return g
}

// residual is the penalised sum of squares that the fit leaves.
func (f *fit) residual() float64 {
	left := f.yy
	for i := range f.n {
		left -= f.beta[i] * f.xy[i]
	}
	return max(left, 0)
}

// surplus is how many times the variance of the noise is what it was thought to be, of a fit that leaves so much over so
// many free points, the expected counting for some.
func surplus(left, free float64) float64 {
	return max(leastVariance, (left+noiseWeight)/(free+noiseWeight))
}

// further is one further term of a fit, freed of what the terms in it say.
type further struct {
	v      [maxTerms]float64 // L^-1 of its inner products with the terms
	weight float64           // inverse variance over noise variance of its coefficient; 0: the terms say it all
	withY  float64
}

// further frees one further term, given its inner products with the terms, with itself and with y.
func (f *fit) further(withTerms [maxTerms]float64, withSelf, withY float64) further {
	out := further{v: f.forward(withTerms), weight: withSelf, withY: withY}
	for i := range f.n {
		out.weight -= out.v[i] * out.v[i]
		out.withY -= withTerms[i] * f.beta[i]
	}
	if out.weight <= dependent*withSelf {
		out.weight = 0
	}
	return out
}

// dependent is the share of a column, left beside the others, that is nothing but rounding.
const dependent = 1e-9

// extend tells what one further term would bring: its coefficient, the weight of that, and by how much the residual would
// fall.
func (f *fit) extend(withTerms [maxTerms]float64, withSelf, withY float64) (coefficient, weight, gain float64) {
	a := f.further(withTerms, withSelf, withY)
	coefficient, gain = a.alone()
	return coefficient, a.weight, gain
}

// alone tells the coefficient of one further term, and by how much the residual would fall.
func (a *further) alone() (coefficient, gain float64) {
	if a.weight <= 0 {
		return 0, 0
	}
	coefficient = a.withY / a.weight
	return coefficient, coefficient * a.withY
}

// with tells the coefficients of two further terms, given their inner product, and by how much the residual would fall.
func (a *further) with(b *further, together float64) (ofA, ofB, gain float64) {
	for i := range a.v {
		together -= a.v[i] * b.v[i]
	}
	determinant := a.weight*b.weight - together*together
	if determinant <= dependent*a.weight*b.weight {
		return 0, 0, 0
	}
	ofA = (a.withY*b.weight - b.withY*together) / determinant
	ofB = (b.withY*a.weight - a.withY*together) / determinant
	return ofA, ofB, ofA*a.withY + ofB*b.withY
}
