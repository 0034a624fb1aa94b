package batch

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// One bound, not two that seem to gainsay each other; hundredths only where they decide.
func TestMovedSaysOneBound(t *testing.T) {
	assert.Equal(t, "fell 0.0 points in two days, and a fall of more than 0.49 is ruled out with 95 % confidence", moved(-0.01, 0.487))
	assert.Equal(t, "fell 2.0 points in two days, and a fall of more than 3.2 is ruled out with 95 % confidence", moved(1.96, 3.24))
	assert.Equal(t, "rose 0.6 points in two days, and a fall of more than 0.00 is ruled out with 95 % confidence", moved(-0.6, -0.2))
}
