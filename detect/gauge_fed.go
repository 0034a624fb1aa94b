package detect

import "time"

// Gas that hands put on goes into the beer, quickly or slowly, and the pressure sinks. What comes up instead is what beer gives
// off that was let down, moved or hopped before. So where hands have done nothing but put gas on for long, no null may come
// to rest upward, and a climb need not stand out from the unrest after an act.
const (
	fedAfter = 36 * time.Hour // after gas was let off, by when the beer has given off what it had too much of (judgement)
	fedRises = 0.1            // kPa beforehand by which it may yet come to rest upward
)

// onlyFed tells whether since long before its stretch hands did nothing but put gas on.
func (c *gauge) onlyFed() bool { return c.Since.Sub(c.Let) >= fedAfter }

// sinks fits a null again whose pressure comes to rest upward, and tells whether it could.
func (n *headNull) sinks() bool {
	for i := sharedTerms; i < gaugeTerms; i++ {
		if n.fit.beta[i] <= 0 {
			continue
		}
		n.fit.gram[i][i] += 1 / (fedRises * fedRises)
		if !n.fit.solve() {
			return false
		}
	}
	return true
}
