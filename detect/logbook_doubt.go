package detect

import (
	"fmt"
	"strconv"

	"spile/detect/beer"
)

// Limits of figures beside what is known of the tank (common practice with room to spare).
const (
	brimful    = 1.05 // of the tank's whole volume, that no beer passes
	thimble    = 0.02 // of the beer in the config: less at a pitch is liters where hL were meant
	leastDose  = 0.1  // g of hops in a liter of beer
	heaviest   = 60.0 // g of hops in a liter
	reliefOver = 1.01 // of the relief setting, that a valve may hold at most
)

// Doubt asks back where a figure of the log can hardly be meant, for this tank: a volume that does not go into it, a
// valve above its relief setting, a thimble of hops. nil: nothing to ask. What spile does not know of a tank it does not
// hold against anybody.
func (s Settings) Doubt(e Event) error {
	var text string
	switch e.Name {
	case "vent":
		text = s.doubtPressure(e, "pressure")
	case "gas":
		if text = s.doubtPressure(e, "hold"); text == "" {
			text = s.doubtPressure(e, "to")
		}
	case "dry-hop":
		text = s.doubtHops(e)
	}
	if text == "" {
		text = s.doubtVolume(e)
	}
	if text == "" {
		return nil
	}
	return &InputError{Reason: ReasonOutOfRange, Text: e.Name + " " + text}
}

// doubtPressure asks about a pressure that the relief valve would not let stand.
func (s Settings) doubtPressure(e Event, field string) string {
	kPa, given := e.Amount(field)
	if !given || s.ReliefKPa <= 0 || kPa <= s.ReliefKPa*reliefOver {
		return ""
	}
	return fmt.Sprintf("%s=%s: the relief valve of %s is set at %s, and a spunding valve is no relief valve; give what it really holds, or mend the relief setting in the config",
		field, beer.Both(kPa, beer.KindPressure), e.Tank, beer.Both(s.ReliefKPa, beer.KindPressure))
}

// doubtVolume asks about more than goes into the tank, and about a batch that would not wet its bottom.
func (s Settings) doubtVolume(e Event) string {
	liters, given := e.Amount("volume")
	if !given || s.BeerLiters <= 0 {
		return ""
	}
	number := strconv.FormatFloat(liters, 'f', -1, 64)
	switch room := s.BeerLiters + s.HeadspaceLiters; {
	case s.HeadspaceLiters > 0 && liters > room*brimful:
		return fmt.Sprintf("volume=%s L: %s holds %s in all", number, e.Tank, beer.Both(room, beer.KindVolume))
	case e.Name == "pitch" && liters < s.BeerLiters*thimble:
		return fmt.Sprintf("volume=%s L: in a tank for %s? write %shL", number, beer.Both(s.BeerLiters, beer.KindVolume), number)
	}
	return ""
}

// doubtHops asks about a dose that nobody doses.
func (s Settings) doubtHops(e Event) string {
	grams, given := e.Amount("mass")
	if !given || s.BeerLiters <= 0 {
		return ""
	}
	number := strconv.FormatFloat(grams, 'f', -1, 64)
	switch dose := grams / s.BeerLiters; {
	case dose < leastDose:
		return fmt.Sprintf("mass=%s g: into %s? write %skg or %slb", number, beer.Both(s.BeerLiters, beer.KindVolume), number, number)
	case dose > heaviest:
		return fmt.Sprintf("mass=%s g: %.0f g/L? look at the unit", number, dose)
	}
	return ""
}
