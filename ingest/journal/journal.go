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
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Options say where a journal is and how it is opened.
type Options struct {
	Dir      string // holds journal.db; made where it is missing
	Memory   bool   // keep everything in memory instead, for a replay or a test
	ReadOnly bool   // for looking into a journal that another spile may be writing
	Log      *slog.Logger
	Clock    func() time.Time // dates the mark of a damaged file; nil: time.Now
}

// Journal is an open journal.
type Journal struct {
	log        *slog.Logger
	dir        string // empty: in memory
	readOnly   bool
	lock       *dirLock
	reader     *sql.DB
	writer     *sql.DB // one connection; the same as reader in memory
	series     *register
	statements statements
	recent     recent

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
// brings it to this version's schema. A file that is damaged is set aside under
// another name, and what is readable of it saved into a new one, which ends with
// a MarkDamaged.
func Open(ctx context.Context, o Options) (*Journal, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Clock == nil {
		o.Clock = time.Now
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
	if o.ReadOnly {
		if err := j.connect(o); err != nil {
			return err
		}
		return j.checkVersion(ctx)
	}
	if !o.Memory {
		if err := j.enter(ctx, o); err != nil {
			return err
		}
	}
	err := j.begin(ctx, o)
	if j.dir != "" && j.Ballast() > 0 && errors.Is(explain("", err), ErrFull) {
		o.Log.Error("the disk is full: the ballast is dropped, so that the journal can be opened", "error", err)
		err = errors.Join(j.disconnect(), j.DropBallast(), j.begin(ctx, o))
	}
	if err != nil && j.dir != "" && errors.Is(explain("", err), ErrDamaged) {
		o.Log.Error("the journal's file is damaged: what is readable of it is saved into a new one", "error", err)
		err = j.beginAnew(ctx, o)
	}
	return err
}

// enter locks the directory, and salvages a file that was condemned.
func (j *Journal) enter(ctx context.Context, o Options) (err error) {
	if j.dir, err = filepath.Abs(o.Dir); err != nil {
		return err
	}
	if err := os.MkdirAll(j.dir, 0o750); err != nil {
		return err
	}
	if j.lock, err = lockDir(ctx, j.dir); err != nil {
		return err
	}
	if !condemned(j.dir) {
		return nil
	}
	o.Log.Warn("the journal's file was found damaged before: what is readable of it is saved into a new one")
	return salvage(ctx, j.dir, o.Clock())
}

// emptied tells whether a file is there and holds nothing, as after a power cut
// on a disk that lies. SQLite would take it for a new one.
func emptied(dir string) bool {
	if dir == "" {
		return false
	}
	file, err := os.Stat(filepath.Join(dir, fileName))
	_, log := os.Stat(filepath.Join(dir, fileName+"-wal"))
	return err == nil && file.Size() == 0 && log != nil
}

// beginAnew is begin on what is saved of a file that it failed on.
func (j *Journal) beginAnew(ctx context.Context, o Options) error {
	err := j.disconnect()
	if err == nil {
		err = salvage(ctx, j.dir, o.Clock())
	}
	if err != nil {
		return err
	}
	return j.begin(ctx, o)
}

// begin connects and brings the file to this version's schema.
func (j *Journal) begin(ctx context.Context, o Options) error {
	if emptied(j.dir) {
		return fmt.Errorf("%w: it is empty", ErrDamaged)
	}
	if err := j.connect(o); err != nil {
		return err
	}
	if err := j.migrate(ctx); err != nil {
		return err
	}
	j.keepSchema(ctx)
	if err := j.prepare(ctx); err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.recall(ctx)
}

func (j *Journal) connect(o Options) (err error) {
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
	errs := []error{j.disconnect()}
	if j.lock != nil {
		errs = append(errs, j.lock.Close())
		j.lock = nil // closing again is nothing
	}
	return errors.Join(errs...)
}

// disconnect closes the file and keeps the directory.
func (j *Journal) disconnect() error {
	errs := []error{j.statements.Close()}
	if j.reader != nil && j.reader != j.writer {
		errs = append(errs, j.reader.Close())
	}
	if j.writer != nil {
		errs = append(errs, j.writer.Close())
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
