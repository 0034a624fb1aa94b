package batch

import (
	"spile/detect"
	"spile/detect/beer"
)

// original is the original gravity: the pitch's, weighed with what was added since and ferments on purpose. open names an
// addition whose extract nobody logged: then what is given is the wort's alone, and alcohol is reckoned too low.
func (s *story) original() (og float64, open string, ok bool) {
	e, pitched := s.last("pitch")
	og, ok = e.Amount("gravity")
	if !pitched || !ok {
		return 0, "", false
	}
	liters, known := s.settings.BeerLiters, s.settings.BeerLiters > 0
	if v, given := e.Amount("volume"); given {
		liters, known = v, true
	}
	for _, line := range s.lines {
		switch line.Name {
		case "add":
			extract, mass, told := added(line)
			if !told || !known {
				open = line.Word("what")
				if open == "" {
					open = "something"
				}
				continue
			}
			og = mixed(og, liters, extract, mass)
			if v, given := line.Amount("volume"); given {
				liters += v
			}
		default:
			if v, given := line.Amount("volume"); given && line.Name != "pitch" {
				liters = max(0, liters-v)
			}
		}
	}
	return og, open, true
}

// added is the extract in an addition and its whole mass, kg; told is false where the log does not say.
func added(e detect.Event) (extract, mass float64, told bool) {
	if grams, given := e.Amount("extract"); given {
		extract = grams / 1000
		mass = extract
		if whole, weighed := e.Amount("mass"); weighed {
			mass = max(mass, whole/1000)
		}
		return extract, mass, true
	}
	sg, given := e.Amount("gravity")
	liters, measured := e.Amount("volume")
	if !given || !measured {
		return 0, 0, false
	}
	plato, err := beer.Plato(sg)
	if err != nil {
		return 0, 0, false // heavier than any wort: a syrup is told by its extract
	}
	mass = liters * sg
	return mass * plato / 100, mass, true
}

// mixed is the original gravity of a wort of so many liters with an addition of so much extract in so much mass, kg: what
// the whole would have been had it been one wort.
func mixed(og, liters, extract, mass float64) float64 {
	plato, err := beer.Plato(og)
	if err != nil {
		return og
	}
	wort := liters * og
	sg, err := beer.SG(100 * (wort*plato/100 + extract) / (wort + mass))
	if err != nil {
		return og
	}
	return sg
}
