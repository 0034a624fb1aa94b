package trial

import (
	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// drawTank draws a tank of finished beer that was crashed to some 14.4 degC before the run begins.
func (s *scene) drawTank() {
	celsius := s.between(13, 16)
	relief := one(s.draw, 100.0, 150, 200)
	s.tank = cellarsim.Tank{
		Name:          tankName,
		BeerLiters:    s.ratio(500, 6000),
		OriginalPlato: s.between(11, 19),
		ExtractPlato:  s.between(2, 5),
		GaugeKPa:      s.between(30, min(95, 0.75*relief)),
		Celsius:       celsius,
		ExchangeLag:   s.hours(1, 40),
		ReliefKPa:     relief * reliefLifts,
		Cooling:       s.drawCooling(celsius),
	}
	s.tank.HeadspaceLiters = s.tank.BeerLiters * s.between(0.05, 0.20)
	if s.chance(0.3) { // fermentation left it over or under what rests with the head space
		rest := beer.Henry(celsius) * (s.tank.GaugeKPa + beer.StandardAtmosphere)
		s.tank.DissolvedGramsPerLiter = rest * s.between(0.9, 1.1)
	}
	s.told.ReliefKPa = relief
	s.setpoint = []change{{at: crashed, celsius: celsius}}
	s.tank.Script = []cellarsim.Act{{At: crashed, Do: cellarsim.Crash{Celsius: celsius}}}
}

const (
	crashed     = -2 * 3600e9 // before the run begins
	reliefLifts = 1.03        // of its setting: valves lift a little late (common practice), and the crossing can be seen
)

// drawCooling draws a jacket that can hold the setpoint and reach 2 degC, in a room that warms the beer.
func (s *scene) drawCooling(celsius float64) cellarsim.Cooling {
	for {
		c := cellarsim.Cooling{
			Setpoint: celsius, Band: s.between(0.2, 0.8), Glycol: s.between(-6, -2), JacketLag: s.hours(6, 40),
			Room: s.between(celsius+2, 30), RoomSwing: s.between(0, 4), RoomLag: hours(s.ratio(15, 200)),
		}
		pull, push := 1/c.JacketLag.Hours(), 1/c.RoomLag.Hours()
		if coldest := (pull*c.Glycol + push*(c.Room+c.RoomSwing)) / (pull + push); coldest < coldEnough {
			return c
		}
	}
}

// coldEnough is what the jacket must be able to reach against the warmest room, degC.
const coldEnough = 1.0
