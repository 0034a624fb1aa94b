package journal

import (
	"crypto/rand"
	"fmt"
	mrand "math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rowsOfAPage is more than the readings that any page holds.
const rowsOfAPage = 170

// cellar fills a journal with all that it can hold and some thousand readings, and closes it.
func cellar(t *testing.T, readings int) (dir string, size int64) {
	t.Helper()
	dir = t.TempDir()
	j := openUnchecked(t, Options{Dir: dir})
	furnish(t, j)
	batch := make([]Entry, readings)
	fill(batch, 64*7200) // two hours on
	commit(t, j, batch...)
	require.NoError(t, j.SetPosition(t.Context(), "influx", 5))
	require.NoError(t, j.Close())
	file, err := os.Stat(filepath.Join(dir, fileName))
	require.NoError(t, err)
	return dir, file.Size()
}

// spoil writes noise over whole pages, the first being 0.
func spoil(t *testing.T, dir string, pages ...int64) {
	t.Helper()
	file, err := os.OpenFile(filepath.Join(dir, fileName), os.O_WRONLY, 0)
	require.NoError(t, err)
	noise := make([]byte, pageBytes)
	for _, page := range pages {
		_, _ = rand.Read(noise)
		_, err := file.WriteAt(noise, page*pageBytes)
		require.NoError(t, err)
	}
	require.NoError(t, file.Close())
}

// held opens a journal, by way of a salvage, and tells how many readings it has and what its last mark says.
func held(t *testing.T, dir string) (readings int, told string) {
	t.Helper()
	j := openUnchecked(t, Options{Dir: dir})
	require.NoError(t, j.reader.QueryRowContext(t.Context(), "SELECT count(*) FROM readings").Scan(&readings))
	last, err := j.Last(t.Context())
	require.NoError(t, err)
	entries, err := j.After(t.Context(), last-1, 1)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	if m := entries[0].Mark; m != nil && m.Name == MarkDamaged {
		told = m.Detail
	}
	later := mark("started")
	later.Arrived = time.Now().Add(time.Hour)
	commit(t, j, later) // it goes on
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.NoError(t, j.Close())
	return readings, told
}

func TestADamagedFileIsSetAsideAndWhatIsReadableSaved(t *testing.T) {
	const readings = 20_000
	dir, size := cellar(t, readings)
	whole, told := held(t, dir)
	require.Equal(t, readings+3, whole)
	require.Empty(t, told, "nothing is wrong with it")
	pages := size / pageBytes
	seed := mrand.Uint64()
	t.Logf("seed %d, %d pages", seed, pages)
	rng := mrand.New(mrand.NewPCG(seed, 0))
	some := []int64{1 + rng.Int64N(pages-1), 1 + rng.Int64N(pages-1), 1 + rng.Int64N(pages-1)}
	least := 1
	if slices.Contains(some, 3) || slices.Contains(some, 5) {
		least = 0 // where the tables of series and of readings begin: with it all of the table is lost
	}
	for name, c := range map[string]struct {
		damage func(t *testing.T, dir string)
		least  int // of the readings
	}{
		"its first page":       {func(t *testing.T, dir string) { spoil(t, dir, 0) }, whole},
		"all of its schema":    {spoilSchema, whole},
		"its last page":        {func(t *testing.T, dir string) { spoil(t, dir, pages-1) }, whole - rowsOfAPage},
		"cut off in a quarter": {func(t *testing.T, dir string) { cut(t, dir, pages/4*pageBytes) }, 1},
		"cut off in a page":    {func(t *testing.T, dir string) { cut(t, dir, size-1000) }, whole - rowsOfAPage},
		"emptied":              {func(t *testing.T, dir string) { cut(t, dir, 0) }, 0},
		"nothing but noise": {func(t *testing.T, dir string) {
			for page := range pages {
				spoil(t, dir, page)
			}
		}, 0},
		"some pages": {func(t *testing.T, dir string) { spoil(t, dir, some...) }, least},
	} {
		t.Run(name, func(t *testing.T) {
			dir, _ := cellar(t, readings)
			c.damage(t, dir)
			condemn(t, dir)
			n, told := held(t, dir)
			t.Log(told)
			assert.GreaterOrEqual(t, n, c.least)
			assert.True(t, strings.HasPrefix(told, "journal-damaged-1.db: "), told)
			_, err := os.Stat(filepath.Join(dir, "journal-damaged-1.db"))
			require.NoError(t, err, "the damaged file is kept")
			n2, told := held(t, dir)
			assert.Equal(t, n, n2)
			assert.Empty(t, told, "once is enough")
		})
	}
}

// spoilSchema leaves the first page, which only says where the others of the schema lie.
func spoilSchema(t *testing.T, dir string) {
	t.Helper()
	pages, err := freshSchema(t.Context(), filepath.Join(dir, fileName))
	require.NoError(t, err)
	require.Greater(t, len(pages), 1)
	for _, p := range pages {
		if p.number > 1 {
			spoil(t, dir, p.number-1)
		}
	}
}

func cut(t *testing.T, dir string, to int64) {
	t.Helper()
	require.NoError(t, os.Truncate(filepath.Join(dir, fileName), to))
}

func condemn(t *testing.T, dir string) {
	t.Helper()
	require.NoError(t, (&Journal{dir: dir}).Condemn("a test"))
}

// A page of readings that is lost costs the readings on it, and nothing else.
func TestNoMoreIsLostThanTheDamage(t *testing.T) {
	dir, _ := cellar(t, 20_000)
	j := openUnchecked(t, Options{Dir: dir})
	var before int
	require.NoError(t, j.reader.QueryRowContext(t.Context(), "SELECT count(*) FROM readings").Scan(&before))
	leaves := leavesOf(t, j, "readings")
	require.NoError(t, j.Close())
	require.Greater(t, len(leaves), 100)
	spoil(t, dir, leaves[10], leaves[50], leaves[51], leaves[len(leaves)-1])
	condemn(t, dir)
	after, told := held(t, dir)
	assert.Less(t, after, before)
	assert.GreaterOrEqual(t, after, before-4*rowsOfAPage)
	assert.Contains(t, told, "are missing")
}

// A bit that is flipped in an arrival costs that reading, whichever way it points.
func TestAReadingOutOfItsOrderIsNotSaved(t *testing.T) {
	for name, off := range map[string]int64{"ahead": 1 << 40, "behind": -1 << 40} {
		t.Run(name, func(t *testing.T) {
			dir, _ := cellar(t, 1000)
			whole, _ := held(t, dir)
			db, err := pool(source(filepath.Join(dir, fileName), "rw"), 1)
			require.NoError(t, err)
			_, err = db.ExecContext(t.Context(), "UPDATE readings SET arrived = arrived + ? WHERE seq IN (SELECT seq FROM readings ORDER BY seq LIMIT 1 OFFSET 500)", off)
			require.NoError(t, err)
			require.NoError(t, db.Close())
			condemn(t, dir)
			n, told := held(t, dir)
			assert.Equal(t, whole-1, n)
			assert.Contains(t, told, "1 are missing")
		})
	}
}

// A journal that came out of a backup has its tables elsewhere than a fresh one, and so has one that was upgraded. What
// was kept of its schema says where; without that, it is tried where a fresh one has them.
func TestASchemaThatIsDamagedIsTakenFromWhatWasKept(t *testing.T) {
	for name, damage := range map[string]func(t *testing.T, dir string){
		"the first page": func(t *testing.T, dir string) { spoil(t, dir, 0) },
		"the others":     spoilSchema,
	} {
		t.Run(name, func(t *testing.T) {
			for _, kept := range []bool{true, false} {
				from, _ := cellar(t, 5000)
				dir := t.TempDir()
				j := openUnchecked(t, Options{Dir: from})
				require.NoError(t, j.Backup(t.Context(), filepath.Join(dir, fileName)))
				require.NoError(t, j.Close())
				whole, _ := held(t, dir)
				if !kept {
					require.NoError(t, os.Remove(filepath.Join(dir, schemaName)))
				}
				damage(t, dir)
				condemn(t, dir)
				n, told := held(t, dir)
				t.Log(told)
				assert.Equal(t, whole, n, "the oldest tables lie alike in all")
				assert.Equal(t, !kept, strings.Contains(told, "missing"), "else nothing needs to be kept")
			}
		})
	}
}

// leavesOf lists the pages that hold the rows of a table, the first page being 0.
func leavesOf(t *testing.T, j *Journal, table string) []int64 {
	t.Helper()
	rows, err := j.reader.QueryContext(t.Context(), "SELECT pageno - 1 FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY path", table)
	require.NoError(t, err)
	defer func() { require.NoError(t, rows.Close()) }()
	var out []int64
	for rows.Next() {
		var page int64
		require.NoError(t, rows.Scan(&page))
		out = append(out, page)
	}
	require.NoError(t, rows.Err())
	return out
}

// Damage that keeps the file from being opened needs nobody to condemn it.
func TestAFileThatCannotBeOpenedIsSalvagedAtOnce(t *testing.T) {
	dir, _ := cellar(t, 1000)
	spoil(t, dir, 0)
	_, told := held(t, dir)
	assert.Contains(t, told, "entries were saved")
}

// A salvage that is cut off is done again, or finished.
func TestASalvageThatWasCutOffIsFinished(t *testing.T) {
	for name, stage := range map[string]func(t *testing.T, dir string){
		"while it saved": func(t *testing.T, dir string) {
			require.NoError(t, os.WriteFile(filepath.Join(dir, savingName), []byte("half"), 0o600))
		},
		"when all was saved": func(t *testing.T, dir string) {
			require.NoError(t, saveAll(t.Context(), dir, heard()))
		},
		"in the exchange": func(t *testing.T, dir string) {
			require.NoError(t, saveAll(t.Context(), dir, heard()))
			require.NoError(t, os.Rename(filepath.Join(dir, fileName), filepath.Join(dir, "journal-damaged-1.db")))
		},
		"with the note gone": func(t *testing.T, dir string) {
			require.NoError(t, saveAll(t.Context(), dir, heard()))
			require.NoError(t, os.Rename(filepath.Join(dir, fileName), filepath.Join(dir, "journal-damaged-1.db")))
			require.NoError(t, os.Remove(filepath.Join(dir, condemnedName)))
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir, _ := cellar(t, 1000)
			whole, _ := held(t, dir)
			condemn(t, dir)
			stage(t, dir)
			n, told := held(t, dir)
			assert.Equal(t, whole, n)
			assert.Contains(t, told, fmt.Sprintf("%d entries were saved", n+4))
			assert.False(t, condemned(dir))
		})
	}
}
