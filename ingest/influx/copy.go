package influx

import (
	"context"
	"time"

	"spile/ingest/journal"
)

// run copies batch after batch, and waits between them as each one asks.
func (f *Forwarder) run(ctx context.Context) {
	if !f.resume(ctx) {
		return
	}
	for sleep(ctx, f.step(ctx)) {
	}
}

// resume finds where the last run came to. It tries until the journal tells,
// or ctx is over.
func (f *Forwarder) resume(ctx context.Context) bool {
	for {
		position, err := f.o.Journal.Position(ctx, Reader)
		if err == nil {
			f.standing.moved(position, "")
			return true
		}
		if !sleep(ctx, f.stumble(ctx, verdict{kind: again, problem: err.Error()})) {
			return false
		}
	}
}

// step copies one batch and tells how long to wait before the next.
func (f *Forwarder) step(ctx context.Context) time.Duration {
	entries, err := f.o.Journal.After(ctx, f.State().Position, batchLines)
	if err != nil {
		return f.stumble(ctx, verdict{kind: again, problem: err.Error()})
	}
	if len(entries) == 0 {
		return f.o.Poll
	}
	lines, unfit := f.encode(entries)
	refusals, v := deliver(ctx, lines, f.write)
	if v.kind != taken {
		return f.stumble(ctx, v)
	}
	last := entries[len(entries)-1].Seq
	if err := f.settle(ctx, append(unfit, refusals...), last); err != nil {
		return f.stumble(ctx, verdict{kind: again, problem: err.Error()})
	}
	f.backoff.reset()
	f.standing.moved(last, v.problem)
	if len(entries) < batchLines {
		return f.o.Poll
	}
	return 0
}

// stumble notes a failure and tells how long to wait. A failure because of the
// end of ctx is none.
func (f *Forwarder) stumble(ctx context.Context, v verdict) time.Duration {
	if ctx.Err() != nil {
		return 0
	}
	wait := f.o.Pause
	if v.kind != closed {
		wait = f.backoff.wait(v.after)
	}
	f.standing.trouble(v.problem, wait)
	return wait
}

// encode makes lines of the readings among the entries. What the line protocol
// cannot carry is refused here, since the store would misread it.
func (f *Forwarder) encode(entries []journal.Entry) (lines []line, unfit []refusal) {
	var buffer []byte
	for _, e := range entries {
		if e.Reading == nil {
			continue
		}
		text, err := appendLine(buffer[:0], f.o.Site, *e.Reading)
		if err != nil {
			unfit = append(unfit, refusal{line{seq: e.Seq}, err.Error()})
			continue
		}
		lines, buffer = append(lines, line{e.Seq, string(text)}), text
	}
	return lines, unfit
}

// write offers lines to the store.
func (f *Forwarder) write(ctx context.Context, lines []line) verdict {
	texts := make([]string, len(lines))
	for i, l := range lines {
		texts[i] = l.text
	}
	return f.judge(f.api.WriteRecord(ctx, texts...))
}

// settle notes what was gone past and then the position, so that a crash in
// between notes the same again.
func (f *Forwarder) settle(ctx context.Context, refusals []refusal, last int64) error {
	for _, r := range refusals {
		if err := f.o.Journal.SetAside(ctx, Reader, r.seq, r.problem); err != nil {
			return err
		}
	}
	if err := f.o.Journal.SetPosition(ctx, Reader, last); err != nil {
		return err
	}
	f.metrics.refused.Add(float64(len(refusals)))
	if len(refusals) > 0 {
		f.o.Log.Warn("InfluxDB refuses readings: they are set aside in the journal",
			"readings", len(refusals), "first", refusals[0].seq, "problem", refusals[0].problem)
	}
	return nil
}

// lag is how many entries the journal has that are not dealt with: readings,
// and the few log events among them.
func (f *Forwarder) lag(ctx context.Context) (float64, error) {
	last, err := f.o.Journal.Last(ctx)
	return float64(max(0, last-f.State().Position)), err
}
