package detect

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// draw gives a random regression of three terms.
func draw(t *rapid.T) (rows [][maxTerms]float64, y []float64, ridge []float64) {
	n := rapid.IntRange(6, 40).Draw(t, "n")
	value := rapid.Float64Range(-10, 10)
	for i := range n {
		rows = append(rows, [maxTerms]float64{1, float64(i), value.Draw(t, "x")})
		y = append(y, value.Draw(t, "y"))
	}
	return rows, y, []float64{1e-9, rapid.Float64Range(0, 5).Draw(t, "ridge"), 0.1}
}

// reference solves the same by gonum, a general library for linear algebra.
func reference(rows [][maxTerms]float64, y, ridge []float64) (beta *mat.VecDense, left float64) {
	n, k := len(rows), len(ridge)
	x := mat.NewDense(n, k, nil)
	for i := range rows {
		for j := range k {
			x.Set(i, j, rows[i][j])
		}
	}
	target := mat.NewVecDense(n, y)
	var gram mat.Dense
	gram.Mul(x.T(), x)
	for j := range k {
		gram.Set(j, j, gram.At(j, j)+ridge[j])
	}
	var xy mat.VecDense
	xy.MulVec(x.T(), target)
	beta = mat.NewVecDense(k, nil)
	if err := beta.SolveVec(&gram, &xy); err != nil {
		return nil, 0
	}
	var fitted, residual mat.VecDense
	fitted.MulVec(x, beta)
	residual.SubVec(target, &fitted)
	left = mat.Dot(&residual, &residual)
	for j := range k {
		left += ridge[j] * beta.AtVec(j) * beta.AtVec(j)
	}
	return beta, left
}

func TestFitAgreesWithAGeneralLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, y, ridge := draw(t)
		f := newFit(ridge)
		for i := range rows {
			f.add(&rows[i], y[i])
		}
		beta, left := reference(rows, y, ridge)
		if beta == nil || !f.solve() {
			t.Skip("singular")
		}
		for j := range ridge {
			assert.InDelta(t, beta.AtVec(j), f.beta[j], 1e-6)
		}
		assert.InDelta(t, left, f.residual(), 1e-6*(1+left))
	})
}

// A term added by extend must bring what fitting it from the beginning brings.
func TestExtendIsARefit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, y, ridge := draw(t)
		extra := make([]float64, len(rows))
		var withTerms [maxTerms]float64
		var withSelf, withY float64
		f := newFit(ridge)
		for i := range rows {
			f.add(&rows[i], y[i])
			extra[i] = rapid.Float64Range(-3, 3).Draw(t, "extra")
			for j := range ridge {
				withTerms[j] += rows[i][j] * extra[i]
			}
			withSelf += extra[i] * extra[i]
			withY += extra[i] * y[i]
		}
		if !f.solve() || withSelf < 1e-3 {
			t.Skip("singular")
		}
		coefficient, _, gain := f.extend(withTerms, withSelf, withY)
		full := make([][maxTerms]float64, len(rows))
		for i := range rows {
			full[i] = rows[i]
			full[i][3] = extra[i]
		}
		beta, left := reference(full, y, append(ridge, 0))
		if beta == nil || coefficient == 0 {
			t.Skip("singular")
		}
		assert.InDelta(t, beta.AtVec(3), coefficient, 1e-5)
		assert.InDelta(t, f.residual()-left, gain, 1e-5*(1+f.residual()))
	})
}

// Two terms added at once bring what fitting both from the beginning brings.
func TestTwoFurtherTermsAreARefit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, y, ridge := draw(t)
		f := newFit(ridge)
		full := make([][maxTerms]float64, len(rows))
		var withTerms [2][maxTerms]float64
		var withSelf, withY [2]float64
		together := 0.0
		for i := range rows {
			f.add(&rows[i], y[i])
			full[i] = rows[i]
			extra := [2]float64{rapid.Float64Range(-3, 3).Draw(t, "one"), rapid.Float64Range(-3, 3).Draw(t, "other")}
			for k, e := range extra {
				full[i][3+k] = e
				for j := range ridge {
					withTerms[k][j] += rows[i][j] * e
				}
				withSelf[k] += e * e
				withY[k] += e * y[i]
			}
			together += extra[0] * extra[1]
		}
		if !f.solve() || min(withSelf[0], withSelf[1]) < 1e-3 {
			t.Skip("singular")
		}
		one, other := f.further(withTerms[0], withSelf[0], withY[0]), f.further(withTerms[1], withSelf[1], withY[1])
		ofOne, ofOther, gain := one.with(&other, together)
		beta, left := reference(full, y, append(ridge, 0, 0))
		if beta == nil || gain == 0 || one.weight*other.weight < 1e-3 {
			t.Skip("singular")
		}
		assert.InDelta(t, beta.AtVec(3), ofOne, 1e-4*(1+math.Abs(ofOne)))
		assert.InDelta(t, beta.AtVec(4), ofOther, 1e-4*(1+math.Abs(ofOther)))
		assert.InDelta(t, f.residual()-left, gain, 1e-4*(1+f.residual()))
	})
}

func TestASingularFitSaysSo(t *testing.T) {
	f := newFit([]float64{0, 0})
	f.add(&[maxTerms]float64{1, 1}, 2)
	f.add(&[maxTerms]float64{1, 1}, 2)
	require.False(t, f.solve())
}
