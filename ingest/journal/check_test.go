package journal

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// furnish gives a journal some of everything: readings 1 to 3, event 4, act 5,
// mark 6, an incident of two transitions, a delivered message and one pending.
func furnish(t *testing.T, j *Journal) {
	t.Helper()
	commit(t, j, gravity("FV1", "hyd", noon(), 1.05), gravity("FV1", "hyd", noon().Add(2*time.Second), 1.04),
		gravity("FV1", "hyd", noon().Add(time.Second), 1.045), hopped(9, noon()),
		Entry{Arrived: heard(), Act: &Act{Verb: "acknowledge", Incident: "i1", By: "mo"}}, mark("started"))
	require.NoError(t, j.Judge(t.Context(), Judgement{
		Through: 5, At: heard(),
		Transitions: []Transition{step("i1", "normal", "unacknowledged"), step("i1", "unacknowledged", "acknowledged")},
		Messages: []Message{
			message("m1", "phone"), message("m2", "phone"),
			{ID: "m3", Webhook: "phone", Incident: "m3", Created: heard(), Body: json.RawMessage(`{"kind":"report"}`)}, // of no incident
		},
		Snapshot: &Snapshot{Seq: 4, At: heard(), Version: 1, Body: []byte("state")},
	}))
	require.NoError(t, j.Settle(t.Context(), "m1", Attempt{At: heard(), Result: Retry, Problem: "503"}))
	require.NoError(t, j.Settle(t.Context(), "m1", Attempt{At: heard(), Result: Delivered}))
	require.NoError(t, j.SetPosition(t.Context(), "influx", 6))
	require.NoError(t, j.SetAside(t.Context(), "influx", 2, "no float"))
}

func step(incident, from, to string) Transition {
	return Transition{
		Incident: incident, Tank: "FV1", Alarm: "refermentation", Priority: "high", From: from, To: to,
		Time: heard(), Onset: noon(), Summary: "FV1 works again", Evidence: json.RawMessage(`{"witnesses":["hyd"]}`),
	}
}

func message(id, webhook string) Message {
	return Message{ID: id, Webhook: webhook, Incident: "i1", Created: heard(), Body: json.RawMessage(`{"alarm":"refermentation"}`)}
}

func TestCheckFindsNothingWrongWithASoundJournal(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		furnish(t, j)
		for since := range int64(8) {
			faults, err := j.Check(t.Context(), since)
			require.NoError(t, err)
			assert.Empty(t, faults, "since %d", since)
		}
	})
}

// Each row breaks one invariant by SQL behind the journal's back.
func TestCheckReportsEachBrokenInvariant(t *testing.T) {
	for name, c := range map[string]struct{ damage, want string }{
		"a reading is lost":       {"DELETE FROM readings WHERE seq = 2", "readings 3: the entries 2 to 2 before it are missing"},
		"an event is lost":        {"DELETE FROM events", "acts 5: the entries 4 to 4 before it are missing"},
		"one seq twice":           {"UPDATE marks SET seq = 5", "another entry has the same seq"},
		"arrival goes back":       {"UPDATE events SET arrived = arrived - 1000", "events 4: it arrived 1s before the entry before it"},
		"arrival of no clock":     {"UPDATE readings SET arrived = 12000 WHERE seq = 1", "readings 1: arrived = 12000 ms is not between"},
		"a series is lost":        {"DELETE FROM series", "readings 1: its series 1 is missing"},
		"a series without a name": {"UPDATE series SET tank = ''", `series 1: tank "", probe "hyd"`},
		"a series of nothing":     {"UPDATE series SET quantity = 'colour'", `series 1: tank "FV1", probe "hyd", quantity "colour" is no series`},
		"an endless value":        {"UPDATE readings SET value = 9e999 WHERE seq = 2", "readings 2: gravity=+Inf is not within"},
		"an absurd raw value":     {"UPDATE readings SET raw = -7 WHERE seq = 2", "readings 2: gravity=-7 is not within"},
		"time of no clock":        {"UPDATE readings SET time = 12000 WHERE seq = 1", "readings 1: time = 12000 ms is not between"},
		"late and not marked":     {"UPDATE readings SET late = 0 WHERE seq = 3", "readings 3: its series had said something newer"},
		"marked and not late":     {"UPDATE readings SET late = 1 WHERE seq = 1", "readings 1: it is marked late"},
		"an event of no form":     {"UPDATE events SET body = '{'", "events 4: its body does not parse"},
		"an event changed":        {`UPDATE events SET body = '{"amounts":{"mass":90}}'`, "events 4: its identity is"},
		"an event without a name": {"UPDATE events SET name = ''", "events 4: an event"},
		"the first step is lost":  {"DELETE FROM transitions WHERE id = 1", "transitions 2: incident i1 was normal, and goes from unacknowledged"},
		"a step of another chain": {"UPDATE transitions SET from_state = 'shelved' WHERE id = 2", "transitions 2: incident i1 was unacknowledged, and goes from shelved"},
		"a state of no alarm":     {"UPDATE transitions SET to_state = 'bored' WHERE id = 2", `"bored": an alarm has no such state`},
		"a step back in time":     {"UPDATE transitions SET time = time - 1 WHERE id = 2", "transitions 2: incident i1 goes back in time"},
		"a step at no time":       {"UPDATE transitions SET time = 5", "transitions 1: time = 5 ms is not between"},
		"a step not yet judged":   {"UPDATE transitions SET judged = 6 WHERE id = 2", "transitions 2: it was judged through 6, the judge has come to 5"},
		"evidence of no form":     {"UPDATE transitions SET evidence = '{' WHERE id = 2", "transitions 2: its evidence is no JSON"},
		"a step of no incident":   {"UPDATE transitions SET incident = '' WHERE id = 2", "transitions 2: it belongs to no incident"},
		"a message of no alarm":   {"UPDATE outbox SET incident = 'i7' WHERE place = 2", `outbox 2: message m2: incident "i7" has no transition`},
		"a message of no form":    {"UPDATE outbox SET body = '{' WHERE place = 2", "outbox 2: message m2: its body is no JSON"},
		"a message at no time":    {"UPDATE outbox SET created = 5 WHERE place = 2", "outbox 2: created = 5 ms is not between"},
		"delivered twice":         {"INSERT INTO attempts VALUES ('m1', 3, 1772456400000, 'delivered', ''); UPDATE outbox SET attempts = 3 WHERE id = 'm1'", "outbox 1: message m1 was delivered 2 times"},
		"delivered, then dead":    {"INSERT INTO attempts VALUES ('m1', 3, 1772456400000, 'dead', ''); UPDATE outbox SET attempts = 3, state = 'dead' WHERE id = 'm1'", "outbox 1: message m1 is dead, and its attempts say otherwise"},
		"delivered, and pending":  {"UPDATE outbox SET state = 'pending' WHERE id = 'm1'", "outbox 1: message m1 is pending, and its attempts say otherwise"},
		"delivered by no attempt": {"UPDATE outbox SET state = 'delivered' WHERE id = 'm2'", "outbox 2: message m2 is delivered, and its attempts say otherwise"},
		"an attempt is lost":      {"DELETE FROM attempts WHERE number = 1", "outbox 1: message m1 counts 2 attempts, and 1 are noted"},
		"a message is lost":       {"DELETE FROM outbox WHERE id = 'm1'", "attempts: the message m1 of 2 attempts is missing"},
		"read beyond the end":     {"UPDATE positions SET seq = 7 WHERE name = 'influx'", "positions 7: influx is at 7, and the last entry is 6"},
		"the last entry is lost":  {"DELETE FROM marks", "positions 6: influx is at 6, and the last entry is 5"},
		"aside beyond the end":    {"UPDATE aside SET seq = 9", "aside 9: influx is at 9, and the last entry is 6"},
		"a damaged snapshot":      {"UPDATE snapshots SET body = x'00'", "snapshots 4: its checksum is wrong"},
		"a snapshot of later":     {"UPDATE snapshots SET seq = 6", "snapshots 6: it is of a state that the judge, at 5"},
		"pruned beyond the end":   {"INSERT INTO figures VALUES ('pruned', 6)", "figures: pruned through 6, and the last entry is 6"},
	} {
		t.Run(name, func(t *testing.T) {
			j := openUnchecked(t, Options{Memory: true})
			furnish(t, j)
			_, err := j.writer.ExecContext(t.Context(), c.damage)
			require.NoError(t, err)
			faults, err := j.Check(t.Context(), 0)
			require.NoError(t, err)
			assert.Contains(t, lines(faults), c.want)
		})
	}
}

func lines(faults []Fault) (text string) {
	for _, f := range faults {
		text += f.String() + "\n"
	}
	return text
}

func TestCheckSinceLooksAtWhatIsNew(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	furnish(t, j)
	_, err := j.writer.ExecContext(t.Context(), "UPDATE readings SET value = 9e999 WHERE seq = 2")
	require.NoError(t, err)
	for since, want := range map[int64]int{0: 1, 1: 1, 2: 0} {
		faults, err := j.Check(t.Context(), since)
		require.NoError(t, err)
		assert.Len(t, faults, want, "since %d", since)
	}
}

func TestCheckEndsSomewhere(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	batch := make([]Entry, maxFaults+10)
	fill(batch, 0)
	commit(t, j, batch...)
	_, err := j.writer.ExecContext(t.Context(), "UPDATE readings SET value = 9e999")
	require.NoError(t, err)
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	require.Len(t, faults, maxFaults+1)
	assert.Equal(t, "file: there are more faults than these", faults[maxFaults].String())
}

// damaged writes rubbish over a journal of some thousand readings, from a share
// of its length on.
func damaged(t *testing.T, share float64, length int) (dir string) {
	t.Helper()
	dir = t.TempDir()
	j := openUnchecked(t, Options{Dir: dir})
	batch := make([]Entry, 5000)
	fill(batch, 0)
	commit(t, j, batch...)
	require.NoError(t, j.Close())
	f, err := os.OpenFile(filepath.Join(dir, fileName), os.O_RDWR, 0)
	require.NoError(t, err)
	info, err := f.Stat()
	require.NoError(t, err)
	rubbish := make([]byte, length)
	for i := range rubbish {
		rubbish[i] = byte(0x55 + i)
	}
	_, err = f.WriteAt(rubbish, int64(share*float64(info.Size())))
	require.NoError(t, err)
	require.NoError(t, f.Close())
	return dir
}

func TestADamagedFileIsToldFromOtherTrouble(t *testing.T) {
	_, err := Open(t.Context(), Options{Dir: damaged(t, 0, 4096), ReadOnly: true}) // a writer would salvage it
	require.ErrorIs(t, err, ErrDamaged)
	require.NotErrorIs(t, err, ErrFull)
	require.NotErrorIs(t, err, ErrLocked)
	assert.ErrorContains(t, err, fileName)
}

func TestALockIsToldFromOtherTrouble(t *testing.T) {
	dir := t.TempDir()
	j := open(t, Options{Dir: dir})
	_, err := j.writer.ExecContext(t.Context(), "PRAGMA busy_timeout = 0")
	require.NoError(t, err)
	outside, err := pool(source(filepath.Join(dir, fileName), "rw"), 1)
	require.NoError(t, err)
	defer func() { require.NoError(t, outside.Close()) }()
	tx, err := outside.BeginTx(t.Context(), nil)
	require.NoError(t, err)

	_, err = j.Commit(t.Context(), []Entry{mark("started")})
	require.ErrorIs(t, err, ErrLocked)
	require.NotErrorIs(t, err, ErrDamaged)
	require.NoError(t, tx.Rollback())
	assert.Equal(t, []Outcome{Accepted}, commit(t, j, mark("started")))
}

func TestCheckReportsADamagedFile(t *testing.T) {
	j := openUnchecked(t, Options{Dir: damaged(t, 0.5, 60000), ReadOnly: true})
	for _, since := range []int64{0, 1} {
		faults, err := j.Check(t.Context(), since)
		require.NoError(t, err)
		require.NotEmpty(t, faults)
		assert.Equal(t, "file", faults[0].Table)
	}
	_, err := j.After(t.Context(), 0, 5000)
	require.ErrorIs(t, err, ErrDamaged)
}
