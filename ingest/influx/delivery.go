package influx

import (
	"cmp"
	"context"
)

// line is a reading ready to be sent.
type line struct {
	seq  int64
	text string
}

// refusal is a reading that the store, or the line protocol, does not take.
type refusal struct {
	line
	problem string
}

// hopeless is how many lines, spread over the batch, are refused alone before
// it is plain that not the lines are at fault.
const hopeless = 100

// delivery is one batch on its way.
type delivery struct {
	write    func(ctx context.Context, lines []line) verdict
	witness  []line // one line that the store has taken; none until it took something
	refusals []refusal
	note     string // what the store said while it took
}

// send offers the lines and, where the store refuses some, halves them until
// the bad ones stand alone. It ends early on any verdict that is not about the
// lines; then all of the batch is to be offered again, which doubles nothing.
func (d *delivery) send(ctx context.Context, lines []line) verdict {
	if len(lines) == 0 {
		return verdict{}
	}
	v := d.write(ctx, lines)
	switch {
	case v.kind == taken:
		d.witness = lines[:1]
		d.note = cmp.Or(d.note, v.problem)
		return verdict{}
	case v.kind != refused:
		return v
	case len(lines) == 1:
		return d.refuse(lines[0], v.problem)
	}
	even, odd := deal(lines)
	if v := d.send(ctx, even); v.kind != taken {
		return v
	}
	return d.send(ctx, odd)
}

// refuse notes a line that the store does not take even alone.
func (d *delivery) refuse(l line, problem string) verdict {
	d.refusals = append(d.refusals, refusal{l, problem})
	if d.witness == nil && len(d.refusals) >= hopeless {
		return verdict{kind: closed, problem: problem}
	}
	return verdict{}
}

// deal splits lines in turns, so that those which come to stand alone first lie
// far apart in the batch: a run of bad ones, such as one probe's backlog, does
// not pass for a store that takes nothing.
func deal(lines []line) (even, odd []line) {
	for i, l := range lines {
		if i%2 == 0 {
			even = append(even, l)
		} else {
			odd = append(odd, l)
		}
	}
	return even, odd
}

// confirm offers each refused line once more, between two takings of the
// witness: so a proxy's error page in place of the store, for a while, is not
// taken for its judgment of a reading.
func (d *delivery) confirm(ctx context.Context) verdict {
	if len(d.refusals) == 0 {
		return verdict{}
	}
	if v := d.hear(ctx); v.kind != taken {
		return v
	}
	var still []refusal
	for _, r := range d.refusals {
		v := d.write(ctx, []line{r.line})
		switch v.kind {
		case taken:
			continue
		case refused:
			still = append(still, r)
		default:
			return v
		}
		if v := d.hear(ctx); v.kind != taken {
			return v
		}
	}
	d.refusals = still
	return verdict{}
}

// hear writes the witness again, which changes nothing in the store.
func (d *delivery) hear(ctx context.Context) verdict {
	v := d.write(ctx, d.witness)
	if v.kind == refused {
		v.kind = again
	}
	return v
}

// deliver sends a batch and tells which of its readings to go past. A store
// that took nothing has not judged the lines: it may be no InfluxDB at all, or
// want another type of every field. Then nothing is gone past.
func deliver(ctx context.Context, lines []line, write func(context.Context, []line) verdict) ([]refusal, verdict) {
	d := &delivery{write: write}
	if v := d.send(ctx, lines); v.kind != taken {
		return nil, v
	}
	if len(d.refusals) > 0 && d.witness == nil {
		return nil, verdict{kind: again, problem: d.refusals[0].problem}
	}
	if v := d.confirm(ctx); v.kind != taken {
		return nil, v
	}
	return d.refusals, verdict{problem: d.note}
}
