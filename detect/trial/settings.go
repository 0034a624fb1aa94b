package trial

// drawSettings draws what the detector is told of the tank. Nobody measures a tank: volumes are off, or not told at all.
func (s *scene) drawSettings() {
	s.told.Sealed = s.chance(0.8)
	switch x := s.Float64(); {
	case x < 0.15: // neither volume
	case x < 0.25: // the beer, but not the room over it
		s.told.BeerLiters = s.tank.BeerLiters * s.between(0.9, 1.1)
	default:
		s.told.BeerLiters = s.tank.BeerLiters * s.between(0.9, 1.1)
		s.told.HeadspaceLiters = s.tank.HeadspaceLiters * s.between(0.75, 1.25)
	}
	if s.chance(0.5) {
		s.told.AtmosphereKPa = s.plan.Weather.MeanKPa
	}
}
