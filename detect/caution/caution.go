// Package caution is the one home of the words that spile shows where work can hurt somebody: beside what people write
// into the log, at the hold points, with the alarms, and under what the hand calculator gives.
//
// They are common practice in the project's own words. They defer to makers' ratings, local codes and licensed people,
// for spile is no safety device. Whoever changes one reads it as it is shown: one danger is told in the same words
// wherever it is told at the same length.
package caution

// Parts that several are made of.
const (
	erupts    = "What falls into carbonated beer can make it erupt"
	zero      = "Bring the tank to zero at the tank and prove it there: spile's figure is no proof. "
	letOut    = "The CO2 let out stays in the room: meter first, do not go alone."
	siteRules = " Site rules and local code come first; spile is no safety device."
	noRelief  = "a valve that holds a pressure is no relief valve."
	collapses = "Caustic with CO2, or hot and then cold, can collapse a closed tank in seconds"
)

// Of what people do to a tank.
const (
	Hops  = erupts + ". " + zero + letOut
	Gas   = BriefRoom + " A valve that holds a pressure is no relief valve."
	Vent  = "Let it down slowly: foam can carry beer and hops into the vent and block it. " + Gas
	Yeast = "Yeast at work fills the room with CO2: meter first, do not go alone. Foam can block the blow-off: see that it " +
		"runs free, and the relief valve too."
	Closed = "A closed tank gains pressure as beer works or warms. See that its relief valve is free and set within the " +
		"tank's plate; " + noRelief
	Dump = "What is dumped under pressure spurts and foams, and fills the room with CO2: open slowly, cover eyes and hands, " +
		"meter first. A closed tank that is drawn from loses pressure and can be pulled flat."
	Sample = "Beer under pressure spurts and foams: open slowly, cover eyes and hands."
	Rouse  = "Carbonated beer that is stirred can foam over and its pressure rises: keep the head space free and watch the " +
		"gauge. " + Gas
	PulledFlat = "A closed tank that is cooled or emptied can be pulled flat. Watch the gauge, and see that the " +
		"vacuum breaker works."
	Emptied  = PulledFlat + " " + collapses + "."
	Packages = "Beer that still ferments can burst its can, bottle or keg: leave suspect ones where they are, cold and shielded, and let " +
		"nobody handle them warm or without gloves and eye protection. The package maker's rating and local law decide."
)

// Of alarms, in full: for who is on the way to a tank that is not as it should be.
const (
	Room = "CO2 may be in the room: meter before you go in and do not go alone." + siteRules

	OverPressure = "Loosen no clamp, no manway. Keep clear of the relief outlet and never plug or re-set it: " +
		"above its setting and still rising it may be blocked. " + Room

	Vacuum = "Stop cooling and stop drawing beer. Let CO2 in slowly by a regulator or open the top vent, only from where you " +
		"are clear of the tank; take nothing from the bottom. A tank that buckles: leave it, keep people away. " +
		collapses + ": faster than any probe tells. " + Room

	Freezing = "Ice can block outlets, vents and the vacuum breaker. " + Glycol + " Keep to the tank maker's limits and site rules."

	Glycol = "Glycol makes beer unfit to drink: where level or gravity has risen and nothing explains it, do not sell it."

	Drift = "Closed beer gains head pressure as it warms, past the relief setting where the valve is blocked, and can pull its " +
		"tank below atmosphere as it cools. Read the gauge from where you are clear of the relief outlet; loosen no clamp, " +
		"no manway. " + Room

	Cooling = "A chiller's refrigerant and its wiring are for people licensed for them. " + Drift

	HopsUnlogged = erupts + ". Open no port to look. " + zero + letOut + siteRules
)

// Of figures that people reckon by hand.
const (
	ReckonedPressure = "Never set a tank above its relief valve or its rating: the maker's plate, local codes and " +
		"licensed people decide, not this figure."
	ReckonedTank = "Below 0 the tank is under vacuum and can collapse: cooling a shut tank needs a vacuum breaker or gas put on. " +
		"Warming one raises the pressure: see to the relief valve. The maker's plate, local codes and licensed people decide."
	ReckonedPackage = "The maker's rating of the package, closure and all, and local law decide, not this figure. Packages that may " +
		"have fermented on can burst: keep them cold and shielded, wear eye and hand protection, let nobody open one warm."
)

// Of alarms in one breath: what a person must not forget on the way to the tank.
const (
	BriefRoom         = "CO2 may fill the room: meter first, do not go alone."
	BriefOverPressure = "Loosen no clamp or manway, keep clear of relief and never plug it; still rising, it may be blocked. " + BriefRoom
	BriefVacuum       = "Stop cooling and pumping; only from clear of the tank let CO2 in or open the top vent; draw nothing from the bottom. " + BriefRoom
	BriefFreezing     = "Ice can block outlets, vents and the vacuum breaker."
	BriefCooling      = "Closed beer that warms builds pressure: read its gauge, keep clear of relief, loosen no clamp or manway. " + BriefRoom
	BriefDrift        = "Closed, it gains pressure as it warms and can be pulled flat as it cools: read its gauge, keep clear of relief, " +
		"loosen no clamp or manway. " + BriefRoom
	BriefHops     = erupts + ": open no port to look. " + BriefRoom
	BriefPackages = "Cans of it can burst: keep them cold and shielded, touch none without gloves and eye protection, none warm."
)
