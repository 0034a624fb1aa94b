package influx

import (
	"context"
	"math/bits"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func numbered(n int) []line {
	lines := make([]line, n)
	for i := range lines {
		lines[i] = line{seq: int64(i)}
	}
	return lines
}

// judging is a store that takes a batch unless it holds a bad line.
func judging(bad map[int64]bool, calls *int, took map[int64]bool) func(context.Context, []line) verdict {
	return func(_ context.Context, lines []line) verdict {
		*calls++
		if slices.ContainsFunc(lines, func(l line) bool { return bad[l.seq] }) {
			return verdict{kind: refused, problem: "bad"}
		}
		for _, l := range lines {
			took[l.seq] = true
		}
		return verdict{}
	}
}

func TestDeliverFindsExactlyTheBadLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 300).Draw(t, "lines")
		bad := map[int64]bool{}
		for _, i := range rapid.SliceOfN(rapid.Int64Range(0, int64(n-1)), 0, 20).Draw(t, "bad") {
			bad[i] = true
		}
		calls, took := 0, map[int64]bool{}
		refusals, v := deliver(context.Background(), numbered(n), judging(bad, &calls, took))

		if len(bad) == n {
			assert.Equal(t, again, v.kind, "a store that takes nothing judges nothing")
			assert.Empty(t, refusals)
			return
		}
		require.Equal(t, taken, v.kind)
		assert.Len(t, took, n-len(bad))
		assert.Len(t, refusals, len(bad))
		for _, r := range refusals {
			assert.True(t, bad[r.seq])
			assert.Equal(t, "bad", r.problem)
		}
		assert.LessOrEqual(t, calls, 2+2*len(bad)*(1+bits.Len(uint(n))), "each bad line costs two writes a level, and two to confirm")
	})
}

// A store whose place is taken by something else for a while, which answers 400
// to all, must not cost a good line.
func TestDeliverIsNotFooledByAMoodOfTheStore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(t, "lines")
		bad := map[int64]bool{}
		for _, i := range rapid.SliceOfN(rapid.Int64Range(0, int64(n-1)), 0, 5).Draw(t, "bad") {
			bad[i] = true
		}
		from := rapid.IntRange(1, 150).Draw(t, "from")
		lasts := rapid.IntRange(1, 150).Draw(t, "for")
		calls, took := 0, map[int64]bool{}
		well := judging(bad, &calls, took)
		refusals, v := deliver(context.Background(), numbered(n), func(ctx context.Context, lines []line) verdict {
			if calls+1 >= from && calls+1 < from+lasts {
				calls++
				return verdict{kind: refused, problem: "a page"}
			}
			return well(ctx, lines)
		})
		for _, r := range refusals {
			assert.True(t, bad[r.seq], "line %d is good", r.seq)
		}
		if v.kind == taken {
			assert.Len(t, took, n-len(bad), "what is not gone past is taken")
		}
	})
}

func TestDeliverFindsTheGoodBehindALongRunOfBad(t *testing.T) {
	bad := map[int64]bool{}
	for i := range int64(4000) {
		bad[i] = true
	}
	calls, took := 0, map[int64]bool{}
	refusals, v := deliver(context.Background(), numbered(5000), judging(bad, &calls, took))
	require.Equal(t, taken, v.kind)
	assert.Len(t, refusals, 4000)
	assert.Len(t, took, 1000)
}

func TestDeliverGivesUpOnAStoreThatTakesNothing(t *testing.T) {
	calls := 0
	refusals, v := deliver(context.Background(), numbered(5000), func(context.Context, []line) verdict {
		calls++
		return verdict{kind: refused, problem: "bad"}
	})
	assert.Equal(t, verdict{kind: closed, problem: "bad"}, v)
	assert.Empty(t, refusals)
	assert.Less(t, calls, 3*hopeless)
}

func TestDeliverStopsAtWhatIsNotAboutTheLines(t *testing.T) {
	for _, kind := range []kind{again, closed} {
		calls := 0
		refusals, v := deliver(context.Background(), numbered(8), func(_ context.Context, lines []line) verdict {
			calls++
			if calls == 3 {
				return verdict{kind: kind, problem: "away"}
			}
			return verdict{kind: refused}
		})
		assert.Equal(t, verdict{kind: kind, problem: "away"}, v)
		assert.Empty(t, refusals)
		assert.Equal(t, 3, calls)
	}
}

func TestDeliverKeepsTheStoresNote(t *testing.T) {
	_, v := deliver(context.Background(), numbered(2), func(_ context.Context, lines []line) verdict {
		switch {
		case len(lines) == 2:
			return verdict{kind: refused}
		case lines[0].seq == 0:
			return verdict{problem: "old"}
		}
		return verdict{}
	})
	assert.Equal(t, verdict{problem: "old"}, v)
}

func TestDeliverOfNothingAsksNothing(t *testing.T) {
	_, v := deliver(context.Background(), nil, func(context.Context, []line) verdict {
		t.Error("nothing to write")
		return verdict{}
	})
	assert.Equal(t, taken, v.kind)
}
