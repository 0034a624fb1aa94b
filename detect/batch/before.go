package batch

import (
	"fmt"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// vessel is the tank as a closed one, from what was read last; ok is false where something is missing.
func (s *story) vessel() (tank beer.ClosedTank, ok bool) {
	liters, known := s.volume()
	celsius, _, _, warmth := s.reading(detect.Temperature, s.at.Add(-6*time.Hour), s.at)
	kPa, _, _, gauge := s.reading(detect.Pressure, s.at.Add(-6*time.Hour), s.at)
	tank = beer.ClosedTank{
		Celsius: celsius, GaugeKPa: kPa, BeerLiters: liters, HeadspaceLiters: s.headspace(liters), AtmosphereKPa: s.atmosphere(),
	}
	return tank, known && warmth && gauge && tank.HeadspaceLiters > 0 && tank.Check() == nil
}

// headspace is what the beer leaves of the tank, L.
func (s *story) headspace(liters float64) float64 {
	if s.settings.HeadspaceLiters == 0 {
		return 0
	}
	return max(0, s.settings.HeadspaceLiters+s.settings.BeerLiters-liters)
}

// vacuumNear is how near to the atmosphere a forecast may come before it says so, kPa: the model's own error.
const vacuumNear = 5.0

// cooledTo says where head pressure would end if the tank, closed as it stands, were cooled.
func (s *story) cooledTo(celsius float64) []string {
	tank, ok := s.vessel()
	if !ok || tank.Celsius <= celsius+0.5 {
		return nil
	}
	end := tank.AfterTemperature(celsius)
	doubt := beer.CO2UncertaintyAt(celsius, end.GaugeKPa) * end.PartialKPa()
	text := fmt.Sprintf("closed as it is, at %s and %s now, it ends near %s at %s, give or take %s, if no gas is added",
		s.celsius(tank.Celsius), s.pressure(tank.GaugeKPa), s.pressure(end.GaugeKPa), s.celsius(celsius), s.pressure(doubt))
	switch {
	case end.GaugeKPa < 0:
		text += ". That is below the atmosphere: put CO2 on first, or leave it held, and watch the gauge"
	case end.GaugeKPa < vacuumNear+doubt:
		text += ". That may pass below the atmosphere: put CO2 on first, or leave it held, and watch the gauge"
	}
	return []string{text}
}
