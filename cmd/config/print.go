package config

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/dustin/go-humanize"

	"spile/detect"
	"spile/detect/beer"
	"spile/ingest"
)

// Print writes what is in force, a line for each thing, every figure in both
// units and no secret.
func (c Config) Print(w io.Writer) error {
	p := &printer{table: tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)}
	p.line("configuration", cmp.Or(c.Path, "none, the defaults"))
	p.line("site", c.Site)
	p.line("timezone", c.Zone.String())
	p.line("data", c.Data)
	p.line("display", cmp.Or(c.Display.Gravity, "SG"), cmp.Or(c.Display.Temperature, "degC"), cmp.Or(c.Display.Pressure, "kPa"))
	p.line("atmosphere", c.atmosphere())
	p.line("http", c.HTTP.words()...)
	p.line("mqtt", c.MQTT.words()...)
	p.line("influx", c.Influx.words()...)
	for _, s := range c.Sources {
		p.line("source "+s.Topic, sourceWords(s)...)
	}
	for _, name := range slices.Sorted(maps.Keys(c.Tanks)) {
		p.line("tank "+name, c.Tanks[name].words()...)
	}
	for _, name := range slices.Sorted(maps.Keys(c.Probes)) {
		p.line("probe "+name, c.Probes[name].words()...)
	}
	for _, alarm := range alarmNames() {
		if rule, given := c.Alarms[alarm]; given {
			p.line("alarm "+string(alarm), rule.words()...)
		}
	}
	p.line("hold points", c.HoldPoints.words()...)
	p.line("heartbeat", c.Heartbeat.words()...)
	p.line("standby", c.Standby.words()...)
	p.line("retention", c.Retention.words()...)
	for _, hook := range c.Webhooks {
		p.line("webhook "+hook.Name, hook.words()...)
	}
	return cmp.Or(p.problem, p.table.Flush())
}

// printer writes lines of a name and what there is to say of it.
type printer struct {
	table   *tabwriter.Writer
	problem error
}

func (p *printer) line(name string, parts ...string) {
	parts = slices.DeleteFunc(slices.Clone(parts), func(part string) bool { return part == "" })
	if _, err := fmt.Fprintf(p.table, "%s\t%s\n", name, cmp.Or(strings.Join(parts, ", "), "nothing said")); err != nil {
		p.problem = err
	}
}

func (c Config) atmosphere() string {
	if c.AltitudeM == nil {
		return "standard, " + beer.Both(beer.StandardAtmosphere, beer.KindPressure) + " absolute"
	}
	return beer.Both(c.AtmosphereKPa, beer.KindPressure) + " absolute, at " + beer.Both(*c.AltitudeM, beer.KindLength)
}

func (h HTTP) words() []string {
	public := "no address for people outside"
	if h.Public != "" {
		public = "people come by " + h.Public
	}
	return []string{h.Listen, word("under TLS by ", h.CertFile), "token " + cmp.Or(h.Token.String(), "none"), public}
}

func (m MQTT) words() []string {
	if m.Broker != "" {
		return []string{"broker " + m.Broker, "client id " + m.ClientID, word("user ", m.Username), word("password ", m.Password.String()), word("trusts ", m.CAFile)}
	}
	who := "anybody who reaches the port may publish"
	if m.Username != "" {
		who = "user " + m.Username + " with password " + m.Password.String()
	}
	if len(m.Users) > 0 {
		who = fmt.Sprintf("%d users with passwords", len(m.Users)+min(len(m.Username), 1))
	}
	return []string{"embedded broker on " + m.Listen, word("under TLS by ", m.CertFile), who}
}

// word puts a label before a text that is there.
func word(label, text string) string {
	if text == "" {
		return ""
	}
	return label + text
}

// figure puts a label before a figure that is there, in both its units.
func figure(label string, v *float64, kind beer.Kind) string {
	if v == nil {
		return ""
	}
	return label + beer.Both(*v, kind)
}

func (i *Influx) words() []string {
	if i == nil {
		return []string{"none"}
	}
	return []string{i.URL, word("org ", i.Org), "bucket " + i.Bucket, "token " + cmp.Or(i.Token.String(), "none")}
}

func sourceWords(s ingest.Source) []string {
	words := []string{word("tank ", s.Tank), word("probe ", s.Probe)}
	for _, q := range detect.Quantities() {
		if f, ok := s.Fields[q]; ok {
			words = append(words, fmt.Sprintf("%s at %q in %s", q, f.At, cmp.Or(f.Unit, q.Unit())))
		}
	}
	if s.Time != "" {
		words = append(words, fmt.Sprintf("time at %q", s.Time), word("in ", s.TimeUnit))
	}
	if len(s.Fields) == 0 {
		words = append(words, "spile's own payloads")
	}
	return words
}

func (t Tank) words() []string {
	known := func(v float64) *float64 {
		if v == 0 {
			return nil
		}
		return &v
	}
	relief := "relief not given"
	if t.ReliefKPa != 0 {
		relief = figure("relief ", &t.ReliefKPa, beer.KindPressure)
	}
	sealed := ""
	if t.Sealed {
		sealed = "closed at the start"
	}
	return []string{
		figure("beer ", known(t.BeerLiters), beer.KindVolume), figure("head space ", known(t.HeadspaceLiters), beer.KindVolume),
		relief, sealed, word("gas group ", t.GasGroup),
	}
}

func (p Probe) words() []string {
	words := []string{word("at ", string(p.At)), figure("calibrated at ", p.Calibration, beer.KindTemperature)}
	for _, q := range detect.Quantities() {
		if offset, ok := p.Offset[q]; ok {
			kind := beer.Kind(q)
			if q == detect.Temperature {
				kind = beer.KindDifference
			}
			words = append(words, figure(string(q)+" offset ", &offset, kind))
		}
	}
	if p.Line != nil {
		left := make([]string, len(p.Line.Residuals))
		for i, residual := range p.Line.Residuals {
			left[i] = fmt.Sprintf("%.4f", residual)
		}
		words = append(words, fmt.Sprintf("gravity %+.4f + %.4f times what it reads, by %d solutions, which leaves %s SG",
			p.Line.Offset, p.Line.Gain, len(p.Solutions), strings.Join(left, " ")))
	}
	if !p.From.IsZero() {
		words = append(words, "corrected from "+p.From.Format(time.RFC3339)+" on")
	}
	return words
}

func (a AlarmRule) words() []string {
	words := []string{figure("above ", a.Above, beer.KindDifference), figure("below ", a.Below, beer.KindDifference)}
	if a.FalseCalls != nil {
		words = append(words, fmt.Sprintf("%g false calls per tank-year", *a.FalseCalls))
	}
	switch a.Wake {
	case "always":
		words = append(words, "wakes always")
	case "near":
		words = append(words, "wakes while relief or a packaging run is near, else told by day")
	}
	if a.OnDelay != nil {
		words = append(words, "on-delay "+length(*a.OnDelay))
	}
	if a.OffDelay != nil {
		words = append(words, "off-delay "+length(*a.OffDelay))
	}
	return words
}

func (h *Heartbeat) words() []string {
	if h == nil {
		return []string{"none"}
	}
	return append([]string{"every " + length(h.Every), "address " + h.URL.String()}, h.Road.words()...)
}

// words leave out what is as usual.
func (o Road) words() []string {
	words := []string{word("trusts ", o.CAFile)}
	if o.Proxy != nil {
		words = append(words, "by proxy "+o.Proxy.String())
	}
	if o.Timeout != defaultTimeout {
		words = append(words, "waits "+length(o.Timeout)+" for an answer")
	}
	return words
}

func (k Retention) words() []string {
	raw, size := "readings kept for ever", "no limit of size"
	if k.Raw != 0 {
		raw = "readings kept for " + length(k.Raw)
	}
	if k.Size != 0 {
		size = "at most " + humanize.Bytes(k.Size)
	}
	return []string{raw, size}
}

func (w Webhook) words() []string {
	signed := "unsigned"
	if w.Signing != "" {
		signed = "signed"
	}
	words := []string{string(w.Priority) + " and above", "address " + w.URL.String(), signed}
	if w.Hours != nil {
		words = append(words, w.Hours.String())
	}
	for _, d := range w.Days {
		words = append(words, dayNames[d])
	}
	if w.Repeat != 0 {
		words = append(words, "again every "+length(w.Repeat)+" until acknowledged")
	}
	if w.Then != "" {
		words = append(words, "then "+w.Then+" after "+length(w.After))
	}
	if w.Report != nil {
		words = append(words, "morning report at "+clock(*w.Report))
	}
	body := "the alarm as JSON"
	if w.Body != "" {
		body = "its own body"
	}
	for _, name := range slices.Sorted(maps.Keys(w.Secrets)) {
		words = append(words, "secret "+name+" "+w.Secrets[name].String())
	}
	return append(append(words, body), w.Road.words()...)
}

// String writes the hours as they are written in the configuration.
func (h Hours) String() string {
	return clock(h.From) + "-" + clock(h.To)
}

// clock writes a time of day.
func clock(d time.Duration) string {
	return fmt.Sprintf("%02d:%02d", int(d.Hours()), int(d.Minutes())%60)
}
