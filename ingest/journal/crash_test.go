package journal

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// writerDir names the journal for a child that writes until it is killed.
const writerDir = "SPILE_TEST_JOURNAL_WRITER"

// TestKilledAtAnyMomentItLosesAndDoublesNothing kills a writing process again
// and again and holds the file against what it had said was committed.
func TestKilledAtAnyMomentItLosesAndDoublesNothing(t *testing.T) {
	dir := t.TempDir()
	for kill := range 8 {
		said := killAfter(t, dir, 3+5*kill)
		j, err := Open(t.Context(), Options{Dir: dir})
		require.NoError(t, err)
		faults, err := j.Check(t.Context(), 0)
		require.NoError(t, err)
		require.Empty(t, faults)
		assertComplete(t, j, said)
		require.NoError(t, j.Close())
	}
}

// killAfter lets a child acknowledge so many batches, kills it in the midst of
// what comes next, and tells the highest number it has acknowledged.
func killAfter(t *testing.T, dir string, batches int) (said int) {
	t.Helper()
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.Env = append(os.Environ(), writerDir+"="+dir)
	var problem strings.Builder
	child.Stderr = &problem
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	lines, heard := bufio.NewScanner(out), 0
	for ; lines.Scan(); heard++ {
		_, err := fmt.Sscanf(lines.Text(), "committed through %d", &said)
		require.NoError(t, err)
		if heard == batches {
			require.NoError(t, child.Process.Kill())
		}
	}
	require.Error(t, child.Wait(), "it does not end by itself")
	require.Greater(t, heard, batches, problem.String())
	return said
}

// assertComplete sees that readings 1 to said are there, each once and with its
// own value, that whatever came after them has no gap, and that each judgement
// has all its parts.
func assertComplete(t *testing.T, j *Journal, said int) {
	t.Helper()
	last, err := j.Last(t.Context())
	require.NoError(t, err)
	require.GreaterOrEqual(t, last, int64(said))
	all, err := j.After(t.Context(), 0, int(last)+1)
	require.NoError(t, err)
	for i, e := range all {
		want := numbered(i + 1)
		want.Seq = int64(i + 1)
		require.Equal(t, want, e)
	}
	judged, _, err := j.Judged(t.Context())
	require.NoError(t, err)
	transitions, err := j.Transitions(t.Context(), TransitionFilter{})
	require.NoError(t, err)
	messages := waiting(t, j, "phone")
	assert.Len(t, messages, len(transitions))
	snapshot, err := j.Snapshot(t.Context())
	require.NoError(t, err)
	require.NotNil(t, snapshot)
	assert.Equal(t, judged, snapshot.Seq)
	assert.Equal(t, fmt.Sprintf("i%d", judged), transitions[len(transitions)-1].Incident)
}

// numbered is the n-th reading that a writer commits, of one of 16 series.
func numbered(n int) Entry {
	e := gravity(fmt.Sprintf("FV%d", n%16), "hyd", noon().Add(time.Duration(n)*time.Second), 1+float64(n%997)/10000)
	e.Arrived = noon().Add(time.Duration(n) * time.Second)
	e.Reading.Arrived = e.Arrived
	return e
}

// writeUntilKilled is the child: it goes on where the journal ends, sends the
// last ten again as a broker would, and says what it has committed.
func writeUntilKilled(dir string) int {
	ctx := context.Background()
	j, err := Open(ctx, Options{Dir: dir})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	for {
		if err := writeOn(ctx, j); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
}

func writeOn(ctx context.Context, j *Journal) error {
	last, err := j.Last(ctx)
	if err != nil {
		return err
	}
	var batch []Entry
	n := max(int(last)-10, 0)
	for range 20 + int(last)%700 {
		n++
		batch = append(batch, numbered(n))
	}
	if _, err := j.Commit(ctx, batch); err != nil {
		return err
	}
	fmt.Printf("committed through %d\n", n)
	at := batch[len(batch)-1].Arrived
	incident := fmt.Sprintf("i%d", n)
	return j.Judge(ctx, Judgement{
		Through: int64(n), At: at,
		Transitions: []Transition{{Incident: incident, Tank: "FV1", Alarm: "leak", From: "normal", To: "unacknowledged", Time: at}},
		Messages:    []Message{{ID: "m" + incident, Webhook: "phone", Incident: incident, Created: at, Body: json.RawMessage(`{}`)}},
		Snapshot:    &Snapshot{Seq: int64(n), At: at, Version: 1, Body: []byte(incident)},
	})
}
