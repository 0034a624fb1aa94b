package stable

import "math"

// terms are the most that a fit holds: level, slope, temperature, settling after hops.
const terms = 4

// normal are the normal equations of a least-squares fit.
type normal struct {
	gram  [terms][terms]float64
	xy    [terms]float64
	yy    float64
	count int
}

func (n *normal) add(x [terms]float64, y float64) {
	for i := range x {
		for k := range x {
			n.gram[i][k] += x[i] * x[k]
		}
		n.xy[i] += x[i] * y
	}
	n.yy += y * y
	n.count++
}

// solve gives the slope with its variance, and the restricted likelihood. A term with a prior deviation is held to it
// by a ridge, for which the noise is taken from a fit where it is free; a term that is not there has no column.
func (n *normal) solve(priors [terms]float64, logs float64) trial {
	free := n.present(priors)
	noise, _, ok := n.residual(free)
	if !ok {
		return trial{}
	}
	held := *n
	for k, prior := range priors {
		if prior > 0 {
			held.gram[k][k] += noise / (prior * prior)
		}
	}
	noise, inverse, ok := held.residual(free)
	if !ok {
		return trial{}
	}
	noise = max(noise, 1e-18)
	var b float64
	for k := range terms {
		b += inverse.at[1][k] * n.xy[k]
	}
	degrees := float64(n.count - len(free))
	return trial{
		slope: b, variance: noise * inverse.at[1][1], ok: true,
		likelihood: -0.5 * (degrees*math.Log(noise) + logs + inverse.logDet),
	}
}

// present lists the terms that the fit holds.
func (n *normal) present(priors [terms]float64) []int {
	out := []int{0, 1}
	for k := 2; k < terms; k++ {
		if priors[k] > 0 && n.gram[k][k] > 0 {
			out = append(out, k)
		}
	}
	return out
}

// residual is the variance that a fit of some terms leaves, and the inverse it comes from.
func (n *normal) residual(free []int) (noise float64, in inverse, ok bool) {
	in, ok = n.invert(free)
	if !ok || n.count <= len(free) {
		return 0, in, false
	}
	left := n.yy
	for _, i := range free {
		for _, k := range free {
			left -= n.xy[i] * in.at[i][k] * n.xy[k]
		}
	}
	return max(left, 0) / float64(n.count-len(free)), in, true
}

// inverse is that of the terms a fit holds, and the logarithm of their determinant.
type inverse struct {
	at     [terms][terms]float64
	logDet float64
}

// invert inverts by Gauss and Jordan; the matrix is positive definite, so its pivots stand on the diagonal.
func (n *normal) invert(free []int) (out inverse, ok bool) {
	a := n.gram
	for _, i := range free {
		out.at[i][i] = 1
	}
	for _, i := range free {
		pivot := a[i][i]
		if pivot <= 1e-10*n.gram[i][i] {
			return out, false
		}
		out.logDet += math.Log(pivot)
		for _, k := range free {
			a[i][k] /= pivot
			out.at[i][k] /= pivot
		}
		for _, j := range free {
			if j == i {
				continue
			}
			factor := a[j][i]
			for _, k := range free {
				a[j][k] -= factor * a[i][k]
				out.at[j][k] -= factor * out.at[i][k]
			}
		}
	}
	return out, true
}
