package broker

import (
	"errors"
	"log/slog"
	"net"
	"sync"
	"time"
)

const (
	maxConnections = maxClients + 100 // those included that have not said who they are
	helloTime      = 10 * time.Second // for a client to send its CONNECT
	acceptPause    = 100 * time.Millisecond
)

// door is the listener under the broker's library. The library waits without
// end for a CONNECT, does not count who has not sent one, stops listening at
// the first error of Accept, such as a want of file descriptors, and ends by
// cutting off clients that wait for their acknowledgement; the door bounds
// the first two and spares the others.
type door struct {
	net.Listener
	log *slog.Logger

	inside sync.WaitGroup // of guests

	mu     sync.Mutex // guards what follows, and the deadlines of guests
	guests map[*guest]struct{}
	closed bool
	hurry  chan struct{} // closed when there is no time left for answers
}

// guest is a connection that the door has let in.
type guest struct {
	net.Conn
	door *door
	tray *tray
	once sync.Once
}

func newDoor(l net.Listener, log *slog.Logger) *door {
	return &door{Listener: l, log: log, guests: map[*guest]struct{}{}, hurry: make(chan struct{})}
}

// Accept gives the next connection, with a deadline for its CONNECT that the
// library then replaces by the client's keepalive.
func (d *door) Accept() (net.Conn, error) {
	for {
		conn, err := d.Listener.Accept()
		if errors.Is(err, net.ErrClosed) {
			return nil, err
		}
		if err != nil {
			d.log.Error("a connection could not be accepted", "error", err)
			time.Sleep(acceptPause) // file descriptors come back when somebody hangs up
			continue
		}
		if g := d.admit(conn); g != nil {
			return g, nil
		}
		_ = conn.Close() // turned away: nothing was said on it
	}
}

// admit lets a connection in; nil when the house is full or closed.
func (d *door) admit(conn net.Conn) *guest {
	if err := conn.SetDeadline(time.Now().Add(helloTime)); err != nil {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed || len(d.guests) >= maxConnections {
		return nil
	}
	g := &guest{Conn: conn, door: d, tray: newTray()}
	d.guests[g] = struct{}{}
	d.inside.Add(1)
	return g
}

// dismiss lets nobody in any more and nobody say more: what has been read is
// still brought to disk and acknowledged, then each connection ends. The
// channel given is closed when all have gone.
func (d *door) dismiss() <-chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.closed = true
	for g := range d.guests {
		_ = g.SetReadDeadline(time.Now()) // fails on a connection that has ended: as wanted
	}
	empty := make(chan struct{})
	go func() {
		defer close(empty)
		d.inside.Wait()
	}()
	return empty
}

// hangUp ends every connection as it stands.
func (d *door) hangUp() {
	d.mu.Lock()
	defer d.mu.Unlock()
	close(d.hurry)
	for g := range d.guests {
		_ = g.Conn.Close() // the library's own Close still counts the guest out
	}
}

func (g *guest) dismissed() bool {
	g.door.mu.Lock()
	defer g.door.mu.Unlock()
	return g.door.closed
}

// SetDeadline leaves a dismissed guest no time to be heard. The library calls
// it before each packet.
func (g *guest) SetDeadline(t time.Time) error {
	g.door.mu.Lock()
	defer g.door.mu.Unlock()
	if g.door.closed {
		return errors.Join(g.SetReadDeadline(time.Now()), g.SetWriteDeadline(t))
	}
	return g.Conn.SetDeadline(t)
}

// Close ends the connection, and then makes room for another. A dismissed guest
// first gets its answers.
func (g *guest) Close() error {
	var err error
	g.once.Do(func() {
		if g.dismissed() {
			g.tray.settle(g.door.hurry)
		}
		err = g.Conn.Close()
		close(g.tray.gone)
		g.door.mu.Lock()
		defer g.door.mu.Unlock()
		delete(g.door.guests, g)
		g.door.inside.Done()
	})
	return err
}
