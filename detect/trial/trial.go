package trial

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"spile/detect"
)

// Options are what a trial is asked for.
type Options struct {
	Years     float64                  // tank-years of the quiet classes in all, 0.1 to 10000; with Class: of that one
	Seed      uint64                   // another seed, another set of cellars
	Class     string                   // the only class to run; empty: all
	ByHand    bool                     // somebody reads gravity on the mornings about the hops, and whenever a float's doubt asks for it
	Barometer bool                     // the site has one, and spile hears it
	Workers   int                      // that run at the same time; below 1: one. It changes nothing but the time taken
	Telling   map[detect.Alarm]Telling // nil: UsualTelling
	Done      func(runs, of int)       // hears of progress, from one goroutine at a time; nil: nobody does
}

// ErrOptions marks a trial that cannot be made as it was asked for.
var ErrOptions = errors.New("trial")

// Bounds of a trial.
const (
	leastYears = 0.1
	mostYears  = 10000
	meanDays   = 12.0 // of a run
)

// falseCallsPerYear is what the detector is set to by default, and what the rules and the oracle are held to.
const falseCallsPerYear = 0.1

// job is one run to be made.
type job struct {
	class Class
	index int
}

// Run makes all the runs of a trial. It ends early, with the context's error, when that is done.
func Run(ctx context.Context, o Options) (Report, error) {
	jobs, err := o.jobs()
	if err != nil {
		return Report{}, err
	}
	if o.Telling == nil {
		o.Telling = UsualTelling()
	}
	outcomes, err := o.runAll(ctx, jobs)
	if err != nil {
		return Report{}, err
	}
	return newReport(o, outcomes), nil
}

// jobs lists the runs.
func (o Options) jobs() ([]job, error) {
	if !(o.Years >= leastYears && o.Years <= mostYears) {
		return nil, fmt.Errorf("%w: %g tank-years; give %g to %d", ErrOptions, o.Years, leastYears, mostYears)
	}
	chosen := Classes()
	if o.Class != "" {
		c, ok := find(o.Class)
		if !ok {
			return nil, fmt.Errorf("%w: no class %q; there are %s", ErrOptions, o.Class, strings.Join(names(), ", "))
		}
		chosen = []Class{c}
	}
	var out []job
	for _, c := range chosen {
		for i := range c.runs(o.Years, o.Class != "") {
			out = append(out, job{c, i})
		}
	}
	return out, nil
}

// scene draws one run.
func (o Options) scene(class Class, index int) *scene {
	s := newScene(o.Seed, class, index)
	// Each from a draw of its own, so that the rest of the cellar is the same with and without.
	s.plan.Weather.Fronts = newDraw(o.Seed, class.Name+" fronts", index).fronts(s.end)
	if o.Barometer {
		s.told.At = map[string]detect.Place{airName: detect.Outside}
		s.plan.Tanks[0].Probes = append(s.plan.Tanks[0].Probes, newDraw(o.Seed, class.Name+" barometer", index).barometer())
	}
	if o.ByHand {
		reader := newDraw(o.Seed, class.Name+" by hand", index)
		s.reader = &reader
	}
	return s
}

func names() []string {
	var out []string
	for _, c := range classes {
		out = append(out, c.Name)
	}
	return out
}

// runs is how many runs of the class a trial makes.
func (c Class) runs(years float64, alone bool) int {
	each := meanDays / 365.25
	switch {
	case alone:
		return int(math.Ceil(years / each))
	case c.Quiet():
		return int(math.Ceil(years * c.Share / each))
	}
	return int(math.Ceil(years * c.Share))
}

// runAll makes the runs, several at a time, and gives the outcomes by class and index.
func (o Options) runAll(ctx context.Context, jobs []job) ([]outcome, error) {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	next := make(chan int)
	outcomes := make([]outcome, len(jobs))
	var workers sync.WaitGroup
	var progress sync.Mutex
	done := 0
	for range max(1, o.Workers) {
		workers.Go(func() {
			for i := range next {
				out, err := o.scene(jobs[i].class, jobs[i].index).play(jobs[i].index, o.Telling)
				if err != nil {
					stop(fmt.Errorf("class %s, run %d: %w", jobs[i].class.Name, jobs[i].index, err))
				}
				progress.Lock()
				outcomes[i] = out
				if done++; o.Done != nil {
					o.Done(done, len(jobs))
				}
				progress.Unlock()
			}
		})
	}
	for i := range jobs {
		select {
		case next <- i:
			continue
		case <-ctx.Done():
		}
		break
	}
	close(next)
	workers.Wait()
	return outcomes, context.Cause(ctx)
}

// byRun orders calls: by class, run, time.
func byRun(a, b Call) int {
	return cmp.Or(cmp.Compare(a.order, b.order), cmp.Compare(a.Index, b.Index), cmp.Compare(a.Hours, b.Hours))
}

// sortCalls puts them in that order.
func sortCalls(calls []Call) { slices.SortStableFunc(calls, byRun) }
