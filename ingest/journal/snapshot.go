package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Snapshot is the judge's state after an entry.
type Snapshot struct {
	Seq     int64
	At      time.Time
	Version int // of the form of Body; another one is not to be restored
	Body    []byte
}

func putSnapshot(ctx context.Context, tx *sql.Tx, through int64, s Snapshot) error {
	if s.Seq > through {
		return fmt.Errorf("%w: a snapshot after %d, judged through %d", ErrOrder, s.Seq, through)
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM snapshots"); err != nil {
		return err
	}
	sum := sha256.Sum256(s.Body)
	_, err := tx.ExecContext(ctx, "INSERT INTO snapshots (seq, at, version, sum, body) VALUES (?, ?, ?, ?, ?)",
		s.Seq, millis(s.At), s.Version, sum[:], notNull(s.Body))
	return err
}

// notNull keeps an empty body from being written as NULL.
func notNull(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// Snapshot gives the newest snapshot, nil where there is none. One that is
// damaged is as good as none: the judge then rebuilds its state from the
// entries, and the damage is logged.
func (j *Journal) Snapshot(ctx context.Context) (*Snapshot, error) {
	s, whole, err := readSnapshot(ctx, j.reader)
	if err != nil {
		return nil, explain("read the snapshot", err)
	}
	if s != nil && !whole {
		j.log.Warn("the judge's snapshot is damaged; its state is rebuilt from the entries", "seq", s.Seq)
		return nil, nil
	}
	return s, nil
}

func readSnapshot(ctx context.Context, q queryer) (s *Snapshot, whole bool, err error) {
	var at int64
	var sum []byte
	s = &Snapshot{}
	err = q.QueryRowContext(ctx, "SELECT seq, at, version, sum, body FROM snapshots ORDER BY seq DESC LIMIT 1").
		Scan(&s.Seq, &at, &s.Version, &sum, &s.Body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	s.At = moment(at)
	is := sha256.Sum256(s.Body)
	return s, string(is[:]) == string(sum), nil
}
