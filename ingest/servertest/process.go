package servertest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"
)

const (
	patience = 60 * time.Second // for a server to start or stop on a loaded machine
	pollEach = 20 * time.Millisecond

	longestLog = 16 << 10 // bytes shown of what a server printed
)

// process is one server under test. Its methods belong to the test's own
// goroutine.
type process struct {
	t     testing.TB
	path  string
	args  []string
	dir   string                      // working directory, and home of the log
	ready func(context.Context) error // nil once the server serves

	cmd  *exec.Cmd
	gone chan struct{} // closed when cmd has ended
}

// newProcess prepares a server, and its end together with the test's.
func newProcess(t testing.TB, name string) *process {
	t.Helper()
	p := &process{t: t, path: binary(t, name), dir: t.TempDir()}
	t.Cleanup(func() {
		p.Stop()
		if log, err := os.ReadFile(p.logPath()); t.Failed() && err == nil {
			t.Logf("what %s printed last:\n%s", name, log[max(0, len(log)-longestLog):])
		}
	})
	return p
}

func (p *process) logPath() string { return filepath.Join(p.dir, "output.log") }

// Start brings the server up and returns when it serves. It must not run.
func (p *process) Start() {
	p.t.Helper()
	log, err := os.OpenFile(p.logPath(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	p.must(err)
	defer func() { _ = log.Close() }() // the child has its own
	cmd := exec.Command(p.path, p.args...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = p.dir, log, log
	p.must(cmd.Start())
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		_ = cmd.Wait() // a server that is stopped ends with an error: expected
	}()
	p.cmd, p.gone = cmd, gone
	p.must(p.await())
}

// Stop asks the server to end, as an orderly shutdown does, and waits for it.
func (p *process) Stop() { p.t.Helper(); p.end(syscall.SIGTERM) }

// Kill ends the server without a chance to save anything, as a power cut does.
func (p *process) Kill() { p.t.Helper(); p.end(syscall.SIGKILL) }

func (p *process) end(how syscall.Signal) {
	p.t.Helper()
	if p.cmd == nil {
		return
	}
	_ = p.cmd.Process.Signal(how) // fails only where it has ended already
	select {
	case <-p.gone:
	case <-time.After(patience):
		_ = p.cmd.Process.Kill()
		<-p.gone
		p.t.Errorf("%s did not end within %s of %s", p.path, patience, how)
	}
	p.cmd = nil
}

// await polls until the server serves, has died, or patience is over.
func (p *process) await() error {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	poll := time.NewTicker(pollEach)
	defer poll.Stop()
	for {
		err := p.ready(ctx)
		if err == nil {
			return nil
		}
		select {
		case <-p.gone:
			return fmt.Errorf("%s ended at once: %s", p.path, p.cmd.ProcessState)
		case <-ctx.Done():
			return fmt.Errorf("%s is not ready after %s: %w", p.path, patience, err)
		case <-poll.C:
		}
	}
}

func (p *process) must(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatalf("servertest: %v", err)
	}
}

// FreeAddress is a host and port of this machine on which nothing listens.
func FreeAddress(t testing.TB) string {
	t.Helper()
	return loopback(freePort(t))
}

// freePort finds a port of 127.0.0.1 that nothing listens on. It lies below
// the range from which Linux gives ports to outgoing connections (from 32768,
// ip(7)), so that nobody takes it while a server is down on purpose.
func freePort(t testing.TB) int {
	t.Helper()
	for range 100 {
		port := 20000 + rand.IntN(12000)
		l, err := net.Listen("tcp", loopback(port))
		if err != nil {
			continue
		}
		if err := l.Close(); err == nil {
			return port
		}
	}
	t.Fatal("servertest: no free port on 127.0.0.1")
	return 0
}

func loopback(port int) string { return net.JoinHostPort("127.0.0.1", strconv.Itoa(port)) }

// dial is a readiness check for servers that say no more than "connected".
func dial(ctx context.Context, address string) error {
	var d net.Dialer
	conn, err := d.DialContext(ctx, "tcp", address)
	return errors.Join(err, closeIf(conn))
}

func closeIf(conn net.Conn) error {
	if conn == nil {
		return nil
	}
	return conn.Close()
}
