package ingest

import (
	"log/slog"
	"sync"
	"time"
)

const (
	refusalsKept = 100
	refusalEach  = time.Minute // at most one log line per source and reason
)

// refusalLog keeps the newest refusals for people to look at, and logs them
// without letting one bad probe fill the log.
type refusalLog struct {
	log   *slog.Logger
	lines map[refusalKind]*refusalLine // only the writer touches it

	mu   sync.Mutex
	ring []Refusal
	next int // where the next one goes, once the ring is full
}

type refusalKind struct{ source, reason string }

type refusalLine struct {
	said   time.Time
	hidden int // refusals since then without a line
}

func newRefusalLog(log *slog.Logger) *refusalLog {
	return &refusalLog{log: log, lines: map[refusalKind]*refusalLine{}}
}

// add keeps a refusal and logs it, unless its like was logged within the minute.
func (l *refusalLog) add(r Refusal, now time.Time) {
	l.keep(r)
	kind := refusalKind{r.Source, r.Reason}
	line := l.lines[kind]
	if line == nil {
		line = &refusalLine{said: now.Add(-refusalEach)}
		l.lines[kind] = line
	}
	if now.Sub(line.said) < refusalEach {
		line.hidden++
		return
	}
	l.log.Warn("refused", "source", r.Source, "topic", r.Topic, "reason", r.Reason, "detail", r.Detail,
		"payload", r.Payload, "not_shown", line.hidden)
	line.said, line.hidden = now, 0
}

func (l *refusalLog) keep(r Refusal) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.ring) < refusalsKept {
		l.ring = append(l.ring, r)
		return
	}
	l.ring[l.next] = r
	l.next = (l.next + 1) % refusalsKept
}

// newest gives what is kept, the newest first.
func (l *refusalLog) newest() []Refusal {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := make([]Refusal, 0, len(l.ring))
	for i := range l.ring {
		out = append(out, l.ring[(l.next+len(l.ring)-1-i)%len(l.ring)])
	}
	return out
}
