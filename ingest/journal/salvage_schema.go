package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// schemaName is the file in which the pages lie that hold the journal's schema, each behind its number of eight bytes.
// They say where the tables begin. That differs from journal to journal: one that was upgraded, or came out of a
// backup, has them elsewhere than a fresh one. So they are kept beside it, for the day on which they are damaged.
const schemaName = "journal.schema"

// schemaPage is one of those pages, the first of the file being 1.
type schemaPage struct {
	number int64
	data   []byte
}

// readSchema reads the pages of an open journal that hold its schema.
func readSchema(ctx context.Context, q queryer) ([]schemaPage, error) {
	rows, err := q.QueryContext(ctx, `SELECT pgno, data FROM sqlite_dbpage
		WHERE pgno IN (SELECT pageno FROM dbstat WHERE name = 'sqlite_schema')`)
	return collect(rows, err, func(r *sql.Rows) (p schemaPage, err error) {
		err = r.Scan(&p.number, &p.data)
		return p, err
	})
}

// keepSchema puts them beside the journal, whole or not at all. A journal without them is only saved less well.
func (j *Journal) keepSchema(ctx context.Context) {
	if j.dir == "" {
		return
	}
	pages, err := readSchema(ctx, j.reader)
	if err == nil {
		var body []byte
		for _, p := range pages {
			body = append(binary.BigEndian.AppendUint64(body, uint64(p.number)), p.data...)
		}
		path := filepath.Join(j.dir, schemaName)
		if err = os.WriteFile(path+".new", body, 0o640); err == nil {
			err = adopt(path+".new", path)
		}
	}
	if err != nil {
		j.log.Warn("the journal's schema could not be kept beside it; it would be needed only if the file is damaged", "error", err)
	}
}

// keptSchema is what keepSchema has left in a directory; nothing where it is not there, or not whole.
func keptSchema(dir string) (pages []schemaPage, err error) {
	body, err := os.ReadFile(filepath.Join(dir, schemaName))
	const each = 8 + pageBytes
	if errors.Is(err, os.ErrNotExist) || len(body)%each != 0 {
		return nil, nil
	}
	for ; err == nil && len(body) > 0; body = body[each:] {
		number := int64(binary.BigEndian.Uint64(body))
		if number < 1 || number > maxPages {
			return nil, nil
		}
		pages = append(pages, schemaPage{number, body[8:each]})
	}
	return pages, err
}

// maxPages is the most that a file of SQLite has (Limits In SQLite, 14).
const maxPages = 4_294_967_294

// freshSchema are the pages of a journal that was laid down a moment ago.
func freshSchema(ctx context.Context, path string) (pages []schemaPage, err error) {
	db, err := pool(source(path, "ro"), 1)
	if err != nil {
		return nil, err
	}
	pages, err = readSchema(ctx, db)
	return pages, errors.Join(err, db.Close())
}

// graft writes pages of a schema over those of a file.
func graft(path string, pages []schemaPage) (err error) {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o640)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	for _, p := range pages {
		if p.number == 1 {
			// "version-valid-for" unlike the change counter: then the size of the file
			// counts, and not the one in the page (SQLite file format, 1.3.7).
			copy(p.data[92:96], []byte{0xff, 0xff, 0xff, 0xff})
		}
		if _, err := file.WriteAt(p.data, (p.number-1)*pageBytes); err != nil {
			return fmt.Errorf("page %d: %w", p.number, err)
		}
	}
	return nil
}

// copyDatabase copies a file, and what of it is still in its log.
func copyDatabase(from, to string) error {
	for _, part := range []string{"-wal", ""} {
		if err := copyFile(from+part, to+part); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
