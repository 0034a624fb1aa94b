package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// Backup copies the journal as one commit left it into a file that must not be
// there yet. It may run beside whoever writes: neither waits for the other. The
// copy is whole and on disk when it bears its name, or it is not there.
func (j *Journal) Backup(ctx context.Context, path string) error {
	doing := "back up to " + path
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("journal: %s: there is such a file already: give another name, a copy is never overwritten", doing)
	}
	partial := path + ".partial"
	if err := os.Remove(partial); err != nil && !errors.Is(err, os.ErrNotExist) {
		return explain(doing, err)
	}
	err := j.copyTo(ctx, partial)
	if err == nil {
		err = christen(partial, path)
	}
	if errors.Is(err, os.ErrExist) {
		err = errors.New("such a file came meanwhile: give another name, a copy is never overwritten")
	}
	if err != nil {
		return errors.Join(explain(doing, err), dropped(partial))
	}
	return nil
}

// christen puts a finished copy on disk under a name that nothing bears; another
// file may have come there since it was begun. A link takes no name that is
// taken. A file system without links, such as that of many a memory stick, is
// looked at once more.
func christen(partial, path string) error {
	if err := flush(partial); err != nil {
		return err
	}
	err := os.Link(partial, path)
	switch {
	case err == nil:
		return errors.Join(dropped(partial), flush(filepath.Dir(path)))
	case errors.Is(err, os.ErrExist):
		return err
	}
	if _, err := os.Lstat(path); err == nil {
		return os.ErrExist
	}
	return adopt(partial, path)
}

// copyTo writes the copy and walks it, for one that cannot be read is none.
func (j *Journal) copyTo(ctx context.Context, path string) error {
	if err := touch(path); err != nil {
		return err
	}
	var here string
	if err := j.reader.QueryRowContext(ctx, "SELECT file FROM pragma_database_list WHERE name = 'main'").Scan(&here); err != nil {
		return err
	}
	// The readers' connections may write nowhere, so this one is its own. SQLite
	// fills an empty file that is there, and leaves its rights alone.
	db, err := pool(source(here, "rw"), 1)
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", path)
	if err = errors.Join(err, db.Close()); err != nil {
		return err
	}
	return sound(ctx, path)
}

// touch makes a file that its owner alone may read: a journal holds names.
func touch(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

// sound tells what is wrong with a file that should be a journal.
func sound(ctx context.Context, path string) (err error) {
	db, err := pool(source(path, "ro"), 1)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	have, err := version(ctx, db)
	switch {
	case err != nil:
		return err
	case have == 0:
		return fmt.Errorf("%s is no journal of spile", path)
	case have > schemaVersion:
		return fmt.Errorf("%w (schema %d, this one knows up to %d)", ErrNewer, have, schemaVersion)
	}
	return intact(ctx, db)
}

func intact(ctx context.Context, db *sql.DB) error {
	var said string
	if err := db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&said); err != nil {
		return err
	}
	if said != "ok" {
		return fmt.Errorf("%w: %s", ErrDamaged, said)
	}
	return nil
}

// adopt puts a finished file on disk under its name.
func adopt(partial, path string) error {
	if err := flush(partial); err != nil {
		return err
	}
	if err := os.Rename(partial, path); err != nil {
		return err
	}
	return flush(filepath.Dir(path))
}

// flush waits until a file or folder is on disk.
func flush(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func dropped(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// Restore puts a copy in the place of the journal of a folder, which no spile
// may be using. What was there stays beside it, and its new name is told; empty
// where nothing was. The copy itself stays as it is.
func Restore(ctx context.Context, dir, backup string, at time.Time) (aside string, err error) {
	doing := "restore " + backup
	if err := sound(ctx, backup); err != nil {
		return "", explain(doing, err)
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return "", explain(doing, err)
	}
	lock, err := lockDir(ctx, dir)
	if err != nil {
		return "", explain(doing, err)
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	partial := filepath.Join(dir, fileName+".partial")
	if err := errors.Join(dropped(partial), duplicate(backup, partial), handOver(partial, dir), handOver(filepath.Join(dir, lockName), dir)); err != nil {
		return "", explain(doing, err)
	}
	if aside, err = setAside(dir, at); err != nil {
		return "", explain(doing, err)
	}
	return aside, explain(doing, adopt(partial, filepath.Join(dir, fileName)))
}

// setAside renames a journal with the files that SQLite keeps beside it.
func setAside(dir string, at time.Time) (string, error) {
	path := filepath.Join(dir, fileName)
	aside := path + ".before-" + strings.ReplaceAll(at.UTC().Format("20060102T150405.000"), ".", "")
	if _, err := os.Lstat(path); errors.Is(err, os.ErrNotExist) {
		return "", nil
	}
	for _, end := range []string{"-wal", "-shm", ""} {
		if err := os.Rename(path+end, aside+end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", err
		}
	}
	return aside, nil
}

// handOver gives a file to who owns the folder: root may put back what a service
// of another user is to write.
func handOver(path, dir string) error {
	info, err := os.Stat(dir)
	if err != nil {
		return err
	}
	owner, known := info.Sys().(*syscall.Stat_t)
	if !known || os.Geteuid() != 0 {
		return nil
	}
	return os.Chown(path, int(owner.Uid), int(owner.Gid))
}

func duplicate(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
