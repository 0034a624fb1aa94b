package cellarsim

import "time"

// The figures of these fittings are common practice: nobody publishes the noise of probes in real tanks. A trial should
// vary them.

// Hydrometer is an ordinary float: gravity and its own temperature every 10 minutes, by a radio that loses and repeats
// a message now and then.
func Hydrometer(name string) Probe {
	return Probe{
		Name:        name,
		Interval:    10 * time.Minute,
		Gravity:     &Sense{Noise: 0.0002, Wander: 0.0002, WanderLag: 3 * time.Hour, Resolution: 0.0001},
		Temperature: &Sense{Noise: 0.05, Resolution: 0.1},
		Float:       Float{PerKelvin: -0.00005, ReferenceC: 14, HopStep: 0.0012},
		Radio: Radio{
			Delay: 300 * time.Millisecond, Jitter: 2 * time.Second, LossShare: 0.005, RepeatShare: 0.005,
		},
	}
}

// Thermowell is a resistance thermometer in a well, wired: beer temperature every 5 minutes.
func Thermowell(name string) Probe {
	return Probe{
		Name:        name,
		Interval:    5 * time.Minute,
		Temperature: &Sense{Noise: 0.03, Resolution: 0.05},
		Radio:       Radio{Delay: 100 * time.Millisecond, Jitter: 200 * time.Millisecond},
	}
}

// HeadGauge is a wired head pressure gauge, open to the air behind: a reading every 2 minutes.
func HeadGauge(name string) Probe {
	return Probe{
		Name:     name,
		Interval: 2 * time.Minute,
		Pressure: &Sense{Noise: 0.15, Resolution: 0.1},
		Radio:    Radio{Delay: 100 * time.Millisecond, Jitter: 200 * time.Millisecond},
	}
}

// Barometer is a wired sensor of the air outside, absolute: a reading every 5 minutes.
func Barometer(name string) Probe {
	return Probe{
		Name:     name,
		Interval: 5 * time.Minute,
		Pressure: &Sense{Noise: 0.01, Resolution: 0.01, Outside: true},
		Radio:    Radio{Delay: 100 * time.Millisecond, Jitter: 200 * time.Millisecond},
	}
}

// Unitank is a lagged and jacketed tank of 20 hL of beer under 2 hL of CO2, crashed to 14.4 degC and closed at 80 kPa:
// beer that waits for its dry-hop. It has no probes and no script.
func Unitank(name string) Tank {
	return Tank{
		Name:            name,
		BeerLiters:      2000,
		HeadspaceLiters: 200,
		OriginalPlato:   14.7,
		ExtractPlato:    3.6,
		GaugeKPa:        80,
		Celsius:         14.4,
		ReliefKPa:       200,
		Cooling: Cooling{
			Setpoint: 14.4, Band: 0.4, Glycol: -3, JacketLag: 10 * time.Hour,
			Room: 21, RoomSwing: 1, RoomLag: 30 * time.Hour,
		},
	}
}
