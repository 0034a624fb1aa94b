package alert

import (
	"time"

	"spile/detect"
)

// View is the cellar as it stands, for pages and metrics.
type View struct {
	At        time.Time
	Tanks     []TankView // by name
	Incidents []Incident // every alarm that is not normal, the most pressing first
}

// TankView is one tank as it stands.
type TankView struct {
	detect.Status
	Incidents []Incident // this tank's, the most pressing first
}
