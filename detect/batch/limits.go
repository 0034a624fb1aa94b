package batch

// Limits are what the hold points ask for. Zero fields take the defaults below.
type Limits struct {
	StablePoints     float64 // points of gravity (0.001 SG) that two days may take at most and still count as standing
	DryHopCelsius    float64 // at or under which hops go in
	OpenKPa          float64 // head pressure above which a port stays shut
	AttenuationOver  float64 // points of gravity above the expected end that count as not done
	AttenuationUnder float64 // points below it that ask for a reason
	TargetVolumes    float64 // CO2 wanted in the package; 0: not given, taken from the log where it says so
	VolumesSlack     float64 // volumes either side of the target
	LabelABV         float64 // % v/v on the label; 0: not given, taken from the log where it says so
	LabelSlack       float64 // % v/v either side of the label
	StoreCelsius     float64 // warmest that a package is kept
	PackageKPa       float64 // gauge, what the package is made for
	HeadspaceShare   float64 // of the package, as a share of the beer
	WorstDays        float64 // days that the bounded worst case is held to go on in the package
}

// The defaults.
const (
	// Half of what a hydrometer in a jar tells apart, over two days (judgement; common practice asks for the same reading
	// on two or three days).
	defaultStablePoints = 0.5
	// 58 degF, a common practice for a dry-hop after a soft crash.
	defaultDryHopCelsius = 14.4
	defaultOpenKPa       = 2.0 // the zero of an ordinary gauge (common practice)
	defaultOver          = 2.0 // common practice
	defaultUnder         = 4.0 // common practice: beyond it a wild yeast, an enzyme, or a wrong original gravity
	// People notice 0.2 volumes (Farber 2019, from memory); half of it is asked for.
	defaultVolumesSlack = 0.1
	// 27 CFR 7.65: 0.3 percentage points either side for malt beverages of 0.5 % and more (from memory). Other countries
	// have other rules; local law decides.
	defaultLabelSlack   = 0.3
	defaultStoreCelsius = 38.0 // 100 degF, a delivery van in summer (common practice)
	// 90 psi is commonly specified for the buckling of cans (Farber 2019, from memory). The maker's own figure decides.
	defaultPackageKPa     = 620.0
	defaultHeadspaceShare = 0.04
	// Creep was measured to do half its work in five days and the rest in some weeks (Kirkpatrick and Shellhammer, J.
	// Agric. Food Chem. 2018, doi 10.1021/acs.jafc.8b03563): two weeks at the bounded rate (judgement).
	defaultWorstDays = 14
)

func (l Limits) filled() Limits {
	fill := func(v *float64, otherwise float64) {
		if *v == 0 {
			*v = otherwise
		}
	}
	fill(&l.StablePoints, defaultStablePoints)
	fill(&l.DryHopCelsius, defaultDryHopCelsius)
	fill(&l.OpenKPa, defaultOpenKPa)
	fill(&l.AttenuationOver, defaultOver)
	fill(&l.AttenuationUnder, defaultUnder)
	fill(&l.VolumesSlack, defaultVolumesSlack)
	fill(&l.LabelSlack, defaultLabelSlack)
	fill(&l.StoreCelsius, defaultStoreCelsius)
	fill(&l.PackageKPa, defaultPackageKPa)
	fill(&l.HeadspaceShare, defaultHeadspaceShare)
	fill(&l.WorstDays, defaultWorstDays)
	return l
}
