package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// ballastName is a file that holds nothing and takes room, to be thrown off
// when the disk runs full.
const ballastName = "ballast"

// ballastChunk is written at a time.
const ballastChunk = 1 << 20

// Room is the room left on the journal's disk, in bytes.
func (j *Journal) Room() (uint64, error) {
	if j.dir == "" {
		return 0, errNoDisk
	}
	var disk syscall.Statfs_t
	if err := syscall.Statfs(j.dir, &disk); err != nil {
		return 0, fmt.Errorf("journal: look at the room of %s: %w", j.dir, err)
	}
	return disk.Bavail * uint64(disk.Bsize), nil
}

// errNoDisk is for a journal in memory: it would take the working folder for its own.
var errNoDisk = errors.New("journal: a journal in memory has no disk")

// Ballast is how many bytes the ballast takes.
func (j *Journal) Ballast() int64 {
	if j.dir == "" {
		return 0
	}
	file, err := os.Stat(filepath.Join(j.dir, ballastName))
	if err != nil {
		return 0
	}
	return file.Size()
}

// LayBallast makes the ballast so many bytes, where it is not. It is written
// out: a file with holes would hold no room.
func (j *Journal) LayBallast(ctx context.Context, size int64) (err error) {
	if j.dir == "" {
		return errNoDisk
	}
	if j.Ballast() == size {
		return nil
	}
	file, err := os.Create(filepath.Join(j.dir, ballastName))
	if err != nil {
		return fmt.Errorf("journal: lay ballast: %w", err)
	}
	defer func() {
		if err = errors.Join(err, file.Close()); err != nil {
			err = errors.Join(fmt.Errorf("journal: lay ballast: %w", err), j.DropBallast())
		}
	}()
	nothing := make([]byte, ballastChunk)
	for left := size; left > 0 && ctx.Err() == nil; left -= ballastChunk {
		if _, err := file.Write(nothing[:min(left, ballastChunk)]); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// DropBallast gives the room of the ballast to the journal.
func (j *Journal) DropBallast() error {
	if j.dir == "" {
		return nil
	}
	if err := removeAny(filepath.Join(j.dir, ballastName)); err != nil {
		return fmt.Errorf("journal: drop ballast: %w", err)
	}
	return nil
}
