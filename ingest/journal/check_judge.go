package journal

import (
	"context"
	"encoding/json"
	"slices"
)

// states are those of an alarm, in the words of ANSI/ISA-18.2; the first is
// where every incident comes from.
func states() []string {
	return []string{"normal", "unacknowledged", "acknowledged", "returned", "shelved", "suppressed", "out-of-service"}
}

// link is a transition as it hangs together with the others of its incident.
type link struct {
	id, judged, time   int64
	incident, from, to string
	evidence           *string
}

// chains sees that the transitions of each incident follow from each other.
func (c *checker) chains(ctx context.Context) error {
	before := link{}
	return c.each(ctx, `SELECT id, judged, incident, from_state, to_state, time, evidence FROM transitions
		WHERE incident IN (SELECT incident FROM transitions WHERE judged > ?) ORDER BY incident, id`, func(row scanner) error {
		var l link
		if err := row.Scan(&l.id, &l.judged, &l.incident, &l.from, &l.to, &l.time, &l.evidence); err != nil {
			return err
		}
		if before.incident != l.incident {
			before = link{incident: l.incident, to: states()[0], time: l.time}
		}
		err := c.link(before, l)
		before = l
		return err
	}, c.since)
}

func (c *checker) link(before, l link) error {
	switch {
	case l.incident == "":
		return c.fault("transitions", l.id, "it belongs to no incident")
	case !slices.Contains(states(), l.from) || !slices.Contains(states(), l.to):
		return c.fault("transitions", l.id, "%q to %q: an alarm has no such state", l.from, l.to)
	case l.from != before.to && l.judged > c.saved:
		return c.fault("transitions", l.id, "incident %s was %s, and goes from %s to %s", l.incident, before.to, l.from, l.to)
	case l.time < before.time:
		return c.fault("transitions", l.id, "incident %s goes back in time", l.incident)
	case l.judged > c.judged:
		return c.fault("transitions", l.id, "it was judged through %d, the judge has come to %d", l.judged, c.judged)
	case l.evidence != nil && !json.Valid([]byte(*l.evidence)):
		return c.fault("transitions", l.id, "its evidence is no JSON")
	}
	return c.time("transitions", l.id, "time", l.time)
}

// outbox sees that each message is of an incident, and in the state that the
// attempts have brought it to.
func (c *checker) outbox(ctx context.Context) error {
	return c.each(ctx, `SELECT place, id, incident, state, attempts, body, created,
		EXISTS (SELECT 1 FROM transitions t WHERE t.incident = o.incident),
		(SELECT count(*) FROM attempts a WHERE a.message = o.id),
		(SELECT count(*) FROM attempts a WHERE a.message = o.id AND a.result = 'delivered'),
		coalesce((SELECT result FROM attempts a WHERE a.message = o.id ORDER BY number DESC LIMIT 1), '')
		FROM outbox o ORDER BY place`, func(row scanner) error {
		var p post
		err := row.Scan(&p.place, &p.id, &p.incident, &p.state, &p.attempts, &p.body, &p.created,
			&p.known, &p.noted, &p.delivered, &p.result)
		if err != nil {
			return err
		}
		if err := c.time("outbox", p.place, "created", p.created); err != nil {
			return err
		}
		return c.post(p)
	})
}

// post is a row of the outbox beside what its attempts say.
type post struct {
	place, created             int64
	id, incident, state, body  string
	attempts, noted, delivered int
	known                      bool
	result                     string // of the last attempt
}

func (c *checker) post(p post) error {
	settled := p.state == string(Delivered) || p.state == string(Dead)
	switch {
	case !p.known && p.incident != p.id && c.saved == 0: // one that is of no incident stands for itself
		return c.fault("outbox", p.place, "message %s: incident %q has no transition", p.id, p.incident)
	case !json.Valid([]byte(p.body)):
		return c.fault("outbox", p.place, "message %s: its body is no JSON", p.id)
	case p.delivered > 1:
		return c.fault("outbox", p.place, "message %s was delivered %d times", p.id, p.delivered)
	case p.attempts != p.noted:
		return c.fault("outbox", p.place, "message %s counts %d attempts, and %d are noted", p.id, p.attempts, p.noted)
	case settled && p.result != p.state, p.state != string(Delivered) && p.delivered > 0:
		return c.fault("outbox", p.place, "message %s is %s, and its attempts say otherwise", p.id, p.state)
	}
	return nil
}

// attempts finds those of messages that are not there.
func (c *checker) attempts(ctx context.Context) error {
	return c.each(ctx, "SELECT message, count(*) FROM attempts WHERE message NOT IN (SELECT id FROM outbox) GROUP BY message", func(row scanner) error {
		var message string
		var n int64
		if err := row.Scan(&message, &n); err != nil {
			return err
		}
		return c.fault("attempts", 0, "the message %s of %d attempts is missing", message, n)
	})
}

// positions sees that nobody has read what is not there.
func (c *checker) positions(ctx context.Context) error {
	return c.each(ctx, `SELECT 'positions', name, seq FROM positions WHERE seq < 0 OR seq > ?1
		UNION ALL SELECT 'aside', name, seq FROM aside WHERE seq < 1 OR seq > ?1`, func(row scanner) error {
		var table, name string
		var seq int64
		if err := row.Scan(&table, &name, &seq); err != nil {
			return err
		}
		return c.fault(table, seq, "%s is at %d, and the last entry is %d", name, seq, c.last)
	}, c.last)
}

// snapshot sees that the judge could restore its state.
func (c *checker) snapshot(ctx context.Context) error {
	s, whole, err := readSnapshot(ctx, c.tx)
	switch {
	case err != nil || s == nil:
		return err
	case !whole:
		return c.fault("snapshots", s.Seq, "its checksum is wrong")
	case s.Seq > c.judged:
		return c.fault("snapshots", s.Seq, "it is of a state that the judge, at %d, has not come to", c.judged)
	}
	return nil
}
