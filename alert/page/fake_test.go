package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

// now is the time of every test: a Monday, early in the morning.
var now = time.Date(2026, 3, 2, 3, 15, 0, 0, time.UTC)

// records is what a test's cellar keeps.
type records struct {
	mu       sync.Mutex
	readings []detect.Reading
	broken   error // comes after the last reading
	events   []detect.Event
	alarms   []alert.Incident
	steps    map[string][]alert.Transition
	began    time.Time
	refused  []Refusal
	asked    Filter
	traced   []Filter
	acts     []string
	fail     error // of every other call
}

func (k *records) Readings(_ context.Context, f Filter, each func(detect.Reading) error) error {
	k.asked = f
	for _, r := range k.readings {
		if f.Tank != "" && f.Tank != r.Tank {
			continue
		}
		if err := each(r); err != nil {
			return err
		}
	}
	return k.broken
}

func (k *records) Traces(_ context.Context, f Filter, step time.Duration) ([]detect.Trace, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.traced = append(k.traced, f)
	var out []detect.Trace
	for _, r := range k.readings {
		if f.Tank != "" && f.Tank != r.Tank || f.Quantity != "" && f.Quantity != r.Quantity || r.Time.Before(f.From) || !f.To.IsZero() && !r.Time.Before(f.To) {
			continue
		}
		i := slices.IndexFunc(out, func(t detect.Trace) bool { return t.Probe == r.Probe && t.Quantity == r.Quantity })
		if i < 0 {
			out = append(out, detect.Trace{Tank: r.Tank, Probe: r.Probe, Quantity: r.Quantity})
			i = len(out) - 1
		}
		out[i].Steps = append(out[i].Steps, detect.TraceStep{Time: r.Time.Truncate(step), Low: r.Value, High: r.Value, Mean: r.Value, Count: 1})
	}
	return out, k.fail
}

func (k *records) Log(_ context.Context, tank string) ([]detect.Event, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var events []detect.Event
	for _, e := range k.events {
		if e.Tank == tank {
			events = append(events, e)
		}
	}
	return events, k.fail
}

func (k *records) WriteLog(_ context.Context, e detect.Event) (string, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fail != nil {
		return "", k.fail
	}
	if slices.ContainsFunc(k.events, func(kept detect.Event) bool { return kept.Identity() == e.Identity() }) {
		return Repeat, nil
	}
	k.events = append(k.events, e)
	return Accepted, nil
}

func (k *records) Alarms(context.Context) ([]alert.Incident, error) {
	var found []alert.Incident
	for _, i := range k.alarms {
		if i.State != alert.Normal {
			found = append(found, i)
		}
	}
	return found, k.fail
}

func (k *records) Past(_ context.Context, before string, limit int) (found []alert.Incident, more bool, err error) {
	for _, i := range k.alarms {
		if i.State == alert.Normal {
			found = append(found, i)
		}
	}
	slices.SortFunc(found, func(a, b alert.Incident) int { return b.Since.Compare(a.Since) })
	if before != "" {
		if _, err := k.find(before); err != nil {
			return nil, false, err
		}
		found = found[1+slices.IndexFunc(found, func(i alert.Incident) bool { return i.ID == before }):]
	}
	if len(found) > limit {
		return found[:limit], true, k.fail
	}
	return found, false, k.fail
}

func (k *records) Alarm(_ context.Context, id string) (alert.Incident, []alert.Transition, error) {
	i, err := k.find(id)
	if err != nil {
		return alert.Incident{}, nil, err
	}
	return *i, k.steps[id], nil
}

func (k *records) Steps(_ context.Context, from, to time.Time) ([]alert.Transition, error) {
	var found []alert.Transition
	for _, t := range k.steps["creep"] {
		if !t.Time.Before(from) && t.Time.Before(to) {
			found = append(found, t)
		}
	}
	return found, k.fail
}

func (k *records) Began(context.Context) (time.Time, error) { return k.began, k.fail }

func (k *records) find(id string) (*alert.Incident, error) {
	if k.fail != nil {
		return nil, k.fail
	}
	for n := range k.alarms {
		if k.alarms[n].ID == id {
			return &k.alarms[n], nil
		}
	}
	return nil, fmt.Errorf("%w: %q", alert.ErrUnknownIncident, id)
}

func (k *records) Acknowledge(_ context.Context, id, by, why string) (alert.Incident, error) {
	return k.act("acknowledge", id, by, why, time.Time{}, alert.Acknowledged)
}

func (k *records) Shelve(_ context.Context, id, by, why string, until time.Time) (alert.Incident, error) {
	return k.act("shelve", id, by, why, until, alert.Shelved)
}

func (k *records) Unshelve(_ context.Context, id, by, why string) (alert.Incident, error) {
	return k.act("unshelve", id, by, why, time.Time{}, alert.Unacknowledged)
}

func (k *records) act(verb, id, by, why string, until time.Time, to alert.State) (alert.Incident, error) {
	i, err := k.find(id)
	if err != nil {
		return alert.Incident{}, err
	}
	if i.State == alert.Normal {
		return alert.Incident{}, fmt.Errorf("%s: %w: it is over", verb, alert.ErrNotNow)
	}
	i.State, i.Until, i.Why = to, until, why
	k.acts = append(k.acts, strings.Join([]string{verb, id, by, why}, "|"))
	return *i, nil
}

func (k *records) Refusals() []Refusal { return k.refused }

func ptr[T any](v T) *T { return &v }

// incident makes an alarm that was raised minutes ago.
func incident(id, tank string, a detect.Alarm, p detect.Priority, state alert.State, minutes int) alert.Incident {
	return alert.Incident{
		ID: id, Tank: tank, Alarm: a, Priority: p, State: state,
		Since: now.Add(-time.Duration(minutes) * time.Minute), Onset: now.Add(-time.Duration(minutes+40) * time.Minute),
		Summary: tank + " " + string(a) + " for a test",
	}
}

// cellar is a cellar with something of everything.
func cellar() (*records, alert.View) {
	creep := incident("creep", "FV3", detect.Refermentation, detect.High, alert.Unacknowledged, 25)
	creep.Summary = "FV3: gravity falls 0.9 points a day and CO2 is made since about 01:20"
	creep.Evidence = detect.Evidence{
		RatePlatoPerDay: &detect.Interval{Value: 0.24, Low: 0.15, High: 0.33},
		Onset:           &detect.Span{Low: now.Add(-3 * time.Hour), High: now.Add(-time.Hour)},
		Witnesses:       []string{"hyd-3 gravity", "head-3 pressure"}, RuledOut: []string{"warming", "logged gas"},
		Forecast: &detect.Forecast{AddedABVPerDay: &detect.Interval{Value: 0.12, Low: 0.08, High: 0.17}},
	}
	creep.Now = &alert.Now{Time: now.Add(-time.Minute), GravitySG: ptr(1.0109), PressureKPa: ptr(82.5)}
	over := incident("over", "FV5", detect.OverPressure, detect.Critical, alert.Acknowledged, 4)
	silent := incident("mute", "FV1", detect.ProbeSilent, detect.Medium, alert.Shelved, 300)
	silent.Until, silent.Why = now.Add(4*time.Hour), "spare battery comes Monday"
	past := incident("past", "FV2", detect.CrashDrift, detect.High, alert.Normal, 3000)
	older := incident("older", "FV2", detect.Vacuum, detect.Critical, alert.Normal, 9000)
	kept := &records{
		alarms: []alert.Incident{past, silent, creep, older, over},
		steps: map[string][]alert.Transition{"creep": {{
			ID: "creep", Time: creep.Since, Tank: "FV3", Alarm: detect.Refermentation, Priority: detect.High,
			From: alert.Normal, To: alert.Unacknowledged, Summary: creep.Summary,
		}}},
		events: []detect.Event{
			{ID: "e1", Tank: "FV3", Name: "crash", Time: now.Add(-50 * time.Hour), Arrived: now.Add(-50 * time.Hour), By: "Ines", Amounts: map[string]float64{"setpoint": 14.4}},
			{ID: "e2", Tank: "FV3", Name: "dry-hop", Time: now.Add(-40 * time.Hour), Arrived: now.Add(-40 * time.Hour), Amounts: map[string]float64{"mass": 9000}, Words: map[string]string{"lot": "north field 12"}},
		},
		refused: []Refusal{{Time: now, Source: "cellar/{tank}/{probe}", Topic: "cellar/FV3/hyd-3", Reason: "bad-number", Detail: "gravity: \"wet\"", Payload: "{}"}},
		readings: []detect.Reading{
			{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: now.Add(-2 * time.Minute), Value: 1.0118, Raw: 1.0121, Arrived: now.Add(-time.Minute)},
			{Tank: "FV5", Probe: "head-5", Quantity: detect.Pressure, Time: now.Add(-time.Minute), Value: 91.5, Raw: 91.5, Arrived: now.Add(-30 * time.Second)},
		},
	}
	return kept, alert.View{At: now, Tanks: tanks(creep, over, silent), Incidents: []alert.Incident{creep, over, silent}}
}

// tanks are the tanks of cellar, by name.
func tanks(creep, over, silent alert.Incident) []alert.TankView {
	latest := func(q detect.Quantity, v float64, probe string, ago time.Duration) map[detect.Quantity]detect.Latest {
		return map[detect.Quantity]detect.Latest{q: {Value: v, Time: now.Add(-ago), Probe: probe}}
	}
	return []alert.TankView{
		{Status: detect.Status{
			Tank: "FV1", Gas: detect.GasUnknown, Last: latest(detect.Temperature, 4.1, "t-1", 5*time.Hour),
			Probes: []detect.ProbeStatus{{Probe: "t-1", LastHeard: now.Add(-5 * time.Hour)}},
		}, Incidents: []alert.Incident{silent}},
		{Status: detect.Status{
			Tank: "FV2", Gas: detect.GasOpen, Empty: true, ReliefKPa: 100,
		}},
		{Status: detect.Status{
			Tank: "FV3", Gas: detect.GasClosed, SetpointCelsius: ptr(14.4), HoppedSince: now.Add(-40 * time.Hour),
			Last: map[detect.Quantity]detect.Latest{
				detect.Gravity:     {Value: 1.0118, Time: now.Add(-2 * time.Minute), Probe: "hyd-3"},
				detect.Temperature: {Value: 14.5, Time: now.Add(-2 * time.Minute), Probe: "hyd-3"},
				detect.Pressure:    {Value: 82, Time: now.Add(-40 * time.Minute), Probe: "head-3"},
			},
			Probes:   []detect.ProbeStatus{{Probe: "head-3", LastHeard: now.Add(-40 * time.Minute)}, {Probe: "hyd-3", LastHeard: now.Add(-12 * time.Second)}, {Probe: "hyd-9", Out: true}},
			Learning: []string{"leak: head-3 has been heard for 5 h of the 12 h it needs"},
		}, Incidents: []alert.Incident{creep}},
		{Status: detect.Status{
			Tank: "FV4", Gas: detect.GasHeldAbove, ReliefKPa: 100, HandsOnUntil: now.Add(30 * time.Minute),
			Last: latest(detect.Pressure, 60, "head-4", time.Minute), Probes: []detect.ProbeStatus{{Probe: "head-4", LastHeard: now.Add(-time.Minute)}},
		}},
		{Status: detect.Status{
			Tank: "FV5", Gas: detect.GasClosed, ReliefKPa: 100, Last: latest(detect.Pressure, 91.5, "head-5", time.Minute),
			Probes: []detect.ProbeStatus{{Probe: "head-5", LastHeard: now.Add(-30 * time.Second)}},
		}, Incidents: []alert.Incident{over}},
	}
}

// options are those of a test's server.
func options(kept *records, view alert.View) Options {
	return Options{
		Records: kept, View: func() alert.View { return view }, Clock: func() time.Time { return now },
		Rand: bytes.NewReader(bytes.Repeat([]byte("spile"), 1000)), Site: "north-quay", Version: "v0-test",
	}
}

// serve makes a server; change may alter its options.
func serve(t testing.TB, change func(*Options)) (*Server, *records) {
	t.Helper()
	kept, view := cellar()
	o := options(kept, view)
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	require.NoError(t, err)
	return s, kept
}

// ask sends a request from this machine, as a program does unless change makes it something else.
func ask(s http.Handler, method, target, body string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Host, r.RemoteAddr = "127.0.0.1:8420", "127.0.0.1:50000"
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// submit sends a form as a browser does from spile's own page.
func submit(s http.Handler, target string, form url.Values, change ...func(*http.Request)) *httptest.ResponseRecorder {
	asForm := func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Origin", "http://127.0.0.1:8420")
	}
	return ask(s, http.MethodPost, target, form.Encode(), append([]func(*http.Request){asForm}, change...)...)
}

// header sets a header of a request; an empty value removes it.
func header(name, value string) func(*http.Request) {
	return func(r *http.Request) {
		r.Header.Del(name)
		if value != "" {
			r.Header.Set(name, value)
		}
	}
}

var errDisk = errors.New("disk is full at /secret/place")

func discard(o *Options) { o.Log = slog.New(slog.DiscardHandler) }
