package chart

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/plot/vg"
	"pgregory.net/rapid"
)

func TestNamesNeverLieOverEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ends := make([]vg.Length, nameRows)
		left := vg.Length(0)
		rows := map[int][]placed{}
		for range rapid.IntRange(1, 40).Draw(t, "names") {
			left += vg.Length(rapid.Float64Range(0, 60).Draw(t, "after"))
			spot := row(ends, left, left+vg.Length(rapid.Float64Range(1, 90).Draw(t, "width")))
			rows[spot.row] = append(rows[spot.row], spot)
		}
		for r, spots := range rows {
			for i := 1; r >= 0 && i < len(spots); i++ {
				assert.GreaterOrEqual(t, spots[i].left, spots[i-1].right)
			}
		}
		assert.Empty(t, rows[nameRows], "there are no more rows than that")
	})
}
