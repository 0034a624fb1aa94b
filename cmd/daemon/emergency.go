package daemon

import (
	"sync"
	"time"

	"spile/alert"
	"spile/alert/webhook"
	"spile/detect"
)

// emergency tells from memory what cannot be journalled: that nothing can be.
//
// It has a watch of its own that knows of that one alarm and makes its messages,
// repeats included. Once the journal takes entries again the judge comes by the
// same alarm, raised at the same moment, and so to the same messages under the
// same ids; those that went out from here are then settled, not sent again.
type emergency struct {
	options alert.Options
	links   *alert.Links
	wake    func()
	fault   func(error)

	mu      sync.Mutex // guards what follows
	watch   *alert.Watch
	waiting []waiting
	told    map[string]webhook.Attempt // by id of what went out
}

// waiting is a message and its webhook.
type waiting struct {
	webhook string
	message webhook.Message
}

// newEmergency makes one that has nothing to tell.
func newEmergency(o alert.Options, links *alert.Links, wake func(), fault func(error)) *emergency {
	return &emergency{options: emergencyOptions(o), links: links, wake: wake, fault: fault, told: map[string]webhook.Attempt{}}
}

// begin raises the alarm, unless it stands.
func (e *emergency) begin(at time.Time, problem string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.watch != nil {
		return
	}
	e.watch = alert.NewWatch(e.options)
	e.watch.Fails(at, alert.JournalStopped, problem)
	e.gather()
}

// tick runs the minutes, for the repeats.
func (e *emergency) tick(at time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.watch != nil {
		e.watch.Advance(at)
		e.gather()
	}
}

// end leaves the telling to the journal: what did not go out comes from there.
func (e *emergency) end() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.watch, e.waiting = nil, nil
}

// gather queues what the watch has to tell. mu is held.
func (e *emergency) gather() {
	rows, err := messageRows(e.watch.Notices(), e.links)
	if err != nil {
		e.fault(err)
		return
	}
	for _, row := range rows {
		e.waiting = append(e.waiting, waiting{row.Webhook, webhook.Message{
			ID: row.ID, Incident: row.Incident, Created: row.Created, Body: row.Body, Own: true,
		}})
	}
	if len(rows) > 0 {
		e.wake()
	}
}

// queues are what waits for a webhook: one queue, for there is one alarm.
func (e *emergency) queues(name string) []webhook.Queue {
	e.mu.Lock()
	defer e.mu.Unlock()
	var out []webhook.Queue
	for _, w := range e.waiting {
		switch {
		case w.webhook != name:
		case len(out) == 0:
			out = []webhook.Queue{{Message: w.message, Waiting: 1}}
		default:
			out[0].Waiting++
		}
	}
	return out
}

// settle notes an attempt; false where the message is not from here.
func (e *emergency) settle(id string, a webhook.Attempt) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	for i := range e.waiting {
		if e.waiting[i].message.ID != id {
			continue
		}
		if a.Result == webhook.Delivered {
			e.told[id] = a
			e.waiting = append(e.waiting[:i], e.waiting[i+1:]...)
			return true
		}
		e.waiting[i].message.Attempts++
		e.waiting[i].message.Next = a.Next
		return true
	}
	return false
}

// remember keeps how a message went out that the journal does not have yet.
func (e *emergency) remember(id string, a webhook.Attempt) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if a.Result == webhook.Delivered {
		e.told[id] = a
	}
}

// went gives how a message went out from memory, once.
func (e *emergency) went(id string) (webhook.Attempt, bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	a, found := e.told[id]
	delete(e.told, id)
	return a, found
}

// emergencyOptions is the part of a watch's options that words and policy need.
func emergencyOptions(o alert.Options) alert.Options {
	return alert.Options{
		Site: o.Site, Policy: o.Policy, Tuning: o.Tuning,
		Default: detect.Settings{Zone: o.Default.Zone, Display: o.Default.Display},
	}
}
