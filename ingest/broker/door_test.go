package broker

import (
	"errors"
	"log/slog"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// street is a listener whose first connections cannot be accepted.
type street struct {
	net.Listener
	failures atomic.Int32
}

func (s *street) Accept() (net.Conn, error) {
	if s.failures.Add(-1) >= 0 {
		return nil, errors.New("accept: too many open files")
	}
	return s.Listener.Accept()
}

func newStreet(t *testing.T, failures int32) *street {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() }) // some tests have closed it
	s := &street{Listener: l}
	s.failures.Store(failures)
	return s
}

// visit connects and gives both ends.
func visit(t *testing.T, d *door) (outside, inside net.Conn) {
	t.Helper()
	outside, err := net.Dial("tcp", d.Addr().String())
	require.NoError(t, err)
	inside, err = d.Accept()
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, errors.Join(ignoreClosed(outside.Close()), ignoreClosed(inside.Close()))) })
	return outside, inside
}

func ignoreClosed(err error) error {
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

func TestAnErrorOfAcceptIsNotTheEnd(t *testing.T) {
	d := newDoor(newStreet(t, 2), slog.New(slog.DiscardHandler))
	visit(t, d)
	require.NoError(t, d.Close())
	_, err := d.Accept()
	require.ErrorIs(t, err, net.ErrClosed)
}

func TestTheHouseIsFullAtSomePoint(t *testing.T) {
	d := newDoor(newStreet(t, 0), slog.New(slog.DiscardHandler))
	for range maxConnections - 1 {
		d.guests[&guest{}] = struct{}{}
	}
	_, last := visit(t, d)
	outside, inside := net.Pipe()
	assert.Nil(t, d.admit(inside))
	require.NoError(t, last.Close())
	g := d.admit(inside)
	require.NotNil(t, g, "somebody left")
	require.NoError(t, g.Close())
	require.NoError(t, ignoreClosed(g.Close()))
	assert.Len(t, d.guests, maxConnections-1, "leaving twice makes no room for two")
	require.NoError(t, outside.Close())
}

// noted is a connection that remembers its deadline.
type noted struct {
	net.Conn
	deadline time.Time
}

func (n *noted) SetDeadline(t time.Time) error { n.deadline = t; return n.Conn.SetDeadline(t) }

func TestWhoSaysNothingIsCutOff(t *testing.T) {
	outside, inside := net.Pipe()
	conn := &noted{Conn: inside}
	d := newDoor(newStreet(t, 0), slog.New(slog.DiscardHandler))
	g := d.admit(conn)
	require.NotNil(t, g)
	assert.WithinDuration(t, time.Now().Add(helloTime), conn.deadline, time.Second)
	require.NoError(t, g.SetDeadline(time.Time{}))
	assert.True(t, conn.deadline.IsZero(), "the library's own, once the client is known")
	require.NoError(t, errors.Join(g.Close(), outside.Close()))
}

func TestDismissedGuestsAreHeardNoMoreButStillAnswered(t *testing.T) {
	d := newDoor(newStreet(t, 0), slog.New(slog.DiscardHandler))
	outside, inside := visit(t, d)
	empty := d.dismiss()
	require.NoError(t, inside.SetDeadline(time.Now().Add(time.Hour)), "as the library does before each packet")
	_, err := inside.Read(make([]byte, 1))
	var timeout net.Error
	require.ErrorAs(t, err, &timeout)
	assert.True(t, timeout.Timeout())
	_, err = inside.Write([]byte("x"))
	require.NoError(t, err)
	got := make([]byte, 1)
	_, err = outside.Read(got)
	require.NoError(t, err)
	assert.Equal(t, "x", string(got))
	select {
	case <-empty:
		t.Fatal("one is still inside")
	default:
	}
	require.NoError(t, inside.Close())
	<-empty
	other, late := net.Pipe()
	assert.Nil(t, d.admit(late), "closed")
	require.NoError(t, errors.Join(other.Close(), late.Close()))
}
