package trial

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"

	"spile/detect/cellarsim"
)

// WriteTale tells one run of a trial for those who tune: what was drawn, what was done and how it was logged, and what
// was called when. A run is found by the class and the index that stand on its calls.
func WriteTale(ctx context.Context, o Options, index int, to io.Writer) error {
	class, ok := find(o.Class)
	if !ok || index < 0 {
		return fmt.Errorf("%w: run %d of class %q; give the class and the index of a call", ErrOptions, index, o.Class)
	}
	if o.Telling == nil {
		o.Telling = UsualTelling()
	}
	s := o.scene(class, index)
	text := &strings.Builder{}
	s.tellTank(text)
	lines := append(s.tellScript(), s.tellFronts()...)
	out, err := s.play(index, o.Telling)
	if err != nil {
		return err
	}
	for _, j := range out.calls {
		lines = append(lines, taleLine{j.at.Sub(begins()), fmt.Sprintf("CALL %s %s: %s %s", j.finding.Alarm, j.verdict,
			j.finding.Summary, strings.Join(j.finding.Evidence.Witnesses, "; "))})
	}
	slices.SortStableFunc(lines, func(a, b taleLine) int { return cmp.Compare(a.at, b.at) })
	for _, l := range lines {
		fmt.Fprintf(text, "%s  %6.1f h  %s\n", begins().Add(l.at).Format("Mon 15:04"), l.at.Hours(), l.what)
	}
	if _, err := io.WriteString(to, text.String()); err != nil {
		return err
	}
	return ctx.Err()
}

// taleLine is one thing that happened.
type taleLine struct {
	at   time.Duration
	what string
}

// tellTank says what was drawn before anything happened.
func (s *scene) tellTank(to *strings.Builder) {
	t := s.tank
	fmt.Fprintf(to, "%s: %s\n", s.class.Name, s.class.Says)
	fmt.Fprintf(to, "tank: %.0f L under %.0f L, told %.0f and %.0f (0: not told); %.1f kPa at %.1f degC, relief %.0f kPa\n",
		t.BeerLiters, t.HeadspaceLiters, s.told.BeerLiters, s.told.HeadspaceLiters, t.GaugeKPa, t.Celsius, s.told.ReliefKPa)
	fmt.Fprintf(to, "exchange lag %.1f h; thermostat band %.1f K, jacket lag %.0f h, room %.0f degC with lag %.0f h; weather sigma %.1f kPa\n",
		t.ExchangeLag.Hours(), t.Cooling.Band, t.Cooling.JacketLag.Hours(), t.Cooling.Room, t.Cooling.RoomLag.Hours(), s.plan.Weather.Sigma)
	for _, p := range t.Probes {
		fmt.Fprintf(to, "%s each %s:", p.Name, p.Interval)
		for _, q := range []struct {
			of    *cellarsim.Sense
			named string
		}{{p.Gravity, "SG"}, {p.Temperature, "K"}, {p.Pressure, "kPa"}} {
			if q.of != nil {
				fmt.Fprintf(to, " noise %.4f %s, wander %.4f over %s, offset %.4f, drift %.5f a day;",
					q.of.Noise, q.named, q.of.Wander, q.of.WanderLag, q.of.Offset, q.of.DriftPerDay)
			}
		}
		fmt.Fprintf(to, " %.5f SG/K\n", p.Float.PerKelvin)
	}
}

// tellScript says what was done.
func (s *scene) tellScript() []taleLine {
	var out []taleLine
	for _, a := range s.tank.Script {
		logged := "logged"
		switch {
		case a.Unlogged:
			logged = "not logged"
		case a.Told > 0:
			logged = "logged " + a.Told.String() + " later"
		}
		deed := strings.TrimPrefix(fmt.Sprintf("%T%+v", a.Do, a.Do), "cellarsim.")
		deed = digits.ReplaceAllString(deed, "$1")
		if own, befell := strings.CutSuffix(deed, befalls); befell {
			deed, logged = own+"}", "nobody's doing"
		}
		out = append(out, taleLine{a.At, deed + ", " + logged})
	}
	return out
}

// tellFronts says what weather passed.
func (s *scene) tellFronts() []taleLine {
	var out []taleLine
	for _, f := range s.plan.Weather.Fronts {
		out = append(out, taleLine{f.Begins, fmt.Sprintf("a front begins: the barometer goes by %+.1f kPa in %.1f h, and back with a lag of %.0f h",
			f.KPa, f.Lasts.Hours(), f.Returns.Hours())})
	}
	return out
}

// digits are more of a figure than anybody reads.
var digits = regexp.MustCompile(`(\d\.\d{4})\d+`)

// befalls ends a deed that leaves no line in the log.
const befalls = " silent:{}}"
