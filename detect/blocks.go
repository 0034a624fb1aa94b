package detect

import (
	"math"
	"slices"
	"time"
)

// block gathers a probe's readings over a fixed stretch of its own time into
// one value. Averaging over a block takes out the noise that is white from
// reading to reading; a median-based cut takes out wild values.
type block struct {
	Start  time.Time // of the stretch, a whole multiple of its width
	Values []float64
	Temps  []float64 // the temperature that belongs to each value
}

// maxBlockValues bounds what one block holds; a probe that sends faster is
// thinned, the newest value replacing an old one in turn.
const maxBlockValues = 120

// add takes a value and gives back the finished block before it, if the value
// begins a new one.
func (b *block) add(at time.Time, width time.Duration, value, temp float64) (done block, ok bool) {
	start := at.Truncate(width)
	if !start.Equal(b.Start) {
		done, ok = *b, len(b.Values) > 0
		*b = block{Start: start}
		if ok { // as many readings as the block before, most likely
			b.Values, b.Temps = make([]float64, 0, len(done.Values)), make([]float64, 0, len(done.Values))
		}
	}
	if len(b.Values) < maxBlockValues {
		b.Values = append(b.Values, value)
		b.Temps = append(b.Temps, temp)
	} else {
		i := (at.Unix()%maxBlockValues + maxBlockValues) % maxBlockValues // a board whose clock has not been set yet may be in 1969
		b.Values[i], b.Temps[i] = value, temp
	}
	return done, ok
}

// mean is the block's value without what stands further from its median than
// the given cut, and the mean temperature; deviation is the white noise within.
func (b block) mean(cut float64) (value, temp, deviation float64, n int) {
	middle := median(b.Values)
	for i, v := range b.Values {
		if math.Abs(v-middle) > cut {
			continue
		}
		value += v
		temp += b.Temps[i]
		n++
	}
	if n == 0 {
		return middle, median(b.Temps), 0, len(b.Values)
	}
	value /= float64(n)
	temp /= float64(n)
	for _, v := range b.Values {
		if math.Abs(v-middle) <= cut {
			deviation += (v - value) * (v - value)
		}
	}
	if n > 1 {
		deviation = math.Sqrt(deviation / float64(n-1))
	}
	return value, temp, deviation, n
}

// median of a copy of the values; 0 of none.
func median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	var few [maxBlockValues]float64 // mostly they are no more, and need no memory
	apart := append(few[:0], values...)
	mid := len(apart) / 2
	selectPlace(apart, mid)
	if len(apart)%2 == 1 {
		return apart[mid]
	}
	return (slices.Max(apart[:mid]) + apart[mid]) / 2
}

// selectPlace brings the value to a place that would stand there in order, the smaller ones before it and the larger ones
// after: half of the work of putting all of them in order (Hoare, "Algorithm 65: Find", Comm. ACM 4 (1961) 321-322).
func selectPlace(values []float64, place int) {
	for low, high := 0, len(values)-1; low < high; {
		pivot, i, j := values[place], low, high
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for pivot < values[j] {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i, j = i+1, j-1
			}
		}
		if j < place {
			low = i
		}
		if place < i {
			high = j
		}
	}
}
