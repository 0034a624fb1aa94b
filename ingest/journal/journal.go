package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"sync"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Options say where a journal is and how it is opened.
type Options struct {
	Dir      string // holds journal.db; made where it is missing
	Memory   bool   // keep everything in memory instead, for a replay or a test
	ReadOnly bool   // for looking into a journal that another spile may be writing
	Log      *slog.Logger
}

// Journal is an open journal.
type Journal struct {
	log        *slog.Logger
	readOnly   bool
	lock       *dirLock
	reader     *sql.DB
	writer     *sql.DB // one connection; the same as reader in memory
	series     *register
	statements statements

	// mu is held by whoever writes; it guards what follows, and the newest
	// times in series.
	mu    sync.Mutex
	last  int64 // the newest seq
	known bool  // last and series are what the file says
}

const (
	fileName = "journal.db"
	readers  = 4
)

// Open opens the journal of a directory, makes it where there is none, and
// brings it to this version's schema.
func Open(ctx context.Context, o Options) (*Journal, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	j := &Journal{log: o.Log, readOnly: o.ReadOnly, series: newRegister()}
	err := j.open(ctx, o)
	if err != nil {
		return nil, errors.Join(explain("open "+place(o), err), j.Close())
	}
	return j, nil
}

func place(o Options) string {
	if o.Memory {
		return "in memory"
	}
	return filepath.Join(o.Dir, fileName)
}

func (j *Journal) open(ctx context.Context, o Options) error {
	if o.Memory && o.ReadOnly {
		return errors.New("a journal in memory is always new: drop ReadOnly")
	}
	if err := j.connect(ctx, o); err != nil {
		return err
	}
	if o.ReadOnly {
		return j.checkVersion(ctx)
	}
	if err := j.migrate(ctx); err != nil {
		return err
	}
	if err := j.prepare(ctx); err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.recall(ctx)
}

func (j *Journal) connect(ctx context.Context, o Options) (err error) {
	if o.Memory {
		// The one connection is the database. No method reads inside its own
		// write, so one serves both.
		j.writer, err = pool(":memory:?_dqs=0", 1)
		j.reader = j.writer
		return err
	}
	path, err := filepath.Abs(place(o))
	if err != nil {
		return err
	}
	if o.ReadOnly {
		if _, err := os.Stat(path); err != nil {
			return err
		}
		j.reader, err = pool(source(path, "rw", "query_only(1)"), readers)
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return err
	}
	if j.lock, err = lockDir(ctx, filepath.Dir(path)); err != nil {
		return err
	}
	if j.writer, err = pool(source(path, "rwc", writing()...), 1); err != nil {
		return err
	}
	// The readers' connections open later, one by one, on a file in WAL mode.
	j.reader, err = pool(source(path, "rw", "query_only(1)"), readers)
	return err
}

// writing lists the pragmas of the connection that writes. They stand in the
// DSN because they hold for one connection only, and a pool may make a new one.
func writing() []string {
	return []string{
		"journal_mode(WAL)",
		"synchronous(FULL)",            // the commit waits for the disk
		"temp_store(MEMORY)",           // what one statement may have to take back needs no file
		"wal_autocheckpoint(4096)",     // at 16 MiB of WAL: a page changed often goes to the file once
		"journal_size_limit(33554432)", // after a burst the WAL shrinks to 32 MiB
		"cache_size(-16384)",           // 16 MiB: the tips of all series' indexes stay at hand
	}
}

func source(path, mode string, pragmas ...string) string {
	q := url.Values{
		"mode":    {mode},
		"_txlock": {"immediate"}, // a writer waits at BEGIN, never in its midst
		"_dqs":    {"0"},         // "x" is a name, never a string
		// Only outsiders with a sqlite3 can be in the way: wait for them.
		"_busy_timeout": {"10000"},
		"_pragma":       pragmas,
	}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: q.Encode()}
	return u.String()
}

func pool(dsn string, connections int) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
}

// Close closes the journal. What was committed stays.
func (j *Journal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	errs := []error{j.statements.Close()}
	if j.reader != nil && j.reader != j.writer {
		errs = append(errs, j.reader.Close())
	}
	if j.writer != nil {
		errs = append(errs, j.writer.Close())
	}
	if j.lock != nil {
		errs = append(errs, j.lock.Close())
		j.lock = nil // closing again is nothing
	}
	return errors.Join(errs...)
}

// write runs f in one transaction on the writing connection.
func (j *Journal) write(ctx context.Context, doing string, f func(tx *sql.Tx) error) error {
	if j.readOnly {
		return fmt.Errorf("journal: %s: %w: it was opened to be read only", doing, ErrReadOnly)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return explain(doing, j.transact(ctx, f))
}

// transact is write for one who holds mu.
func (j *Journal) transact(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := j.writer.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // a no-op after the commit
	if err := f(tx); err != nil {
		return calledOff(ctx, err)
	}
	return calledOff(ctx, tx.Commit())
}

// calledOff says that a failure came of the context's end, where the driver has
// other words for it: a statement or a transaction that was closed under it.
func calledOff(ctx context.Context, err error) error {
	if err == nil || ctx.Err() == nil || errors.Is(err, ctx.Err()) {
		return err
	}
	return fmt.Errorf("%w (%w)", ctx.Err(), err)
}

// read runs f on one unchanging state of the journal.
func (j *Journal) read(ctx context.Context, doing string, f func(tx *sql.Tx) error) error {
	tx, err := j.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return explain(doing, err)
	}
	defer func() { _ = tx.Rollback() }() // nothing to keep
	return explain(doing, f(tx))
}
