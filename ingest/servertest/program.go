package servertest

import (
	"bytes"
	"os"
	"os/exec"
	"regexp"
	"sync"
	"syscall"
	"testing"
	"time"
)

// Program is a program of a test's own, which is gone when the test ends.
type Program struct {
	Up string // what of its output showed that it was up

	t    testing.TB
	cmd  *exec.Cmd
	gone chan struct{} // closed when it has ended
	mu   sync.Mutex
	out  bytes.Buffer // what it printed
	all  bytes.Buffer // that, and its errors among it
}

// upWithin is how long a program may take to come up: under an emulator, on a loaded machine.
const upWithin = 2 * time.Minute

// Run starts a program and waits until it prints something of a form on its standard output.
func Run(t testing.TB, cmd *exec.Cmd, up *regexp.Regexp) *Program {
	t.Helper()
	p := &Program{t: t, cmd: cmd, gone: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = output{p, true}, output{p, false}
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v: %v", cmd.Args, err)
	}
	go func() {
		_ = cmd.Wait() // how it ended stands in its state
		close(p.gone)
	}()
	t.Cleanup(p.Kill)
	p.await(up)
	return p
}

func (p *Program) await(up *regexp.Regexp) {
	p.t.Helper()
	late := time.After(upWithin)
	poll := time.NewTicker(pollEach)
	defer poll.Stop()
	for {
		if p.Up = up.FindString(p.printed()); p.Up != "" {
			return
		}
		select {
		case <-poll.C:
		case <-p.gone:
			p.t.Fatalf("%v ended before it was up:\n%s", p.cmd.Args, p.Said())
		case <-late:
			p.t.Fatalf("%v did not come up:\n%s", p.cmd.Args, p.Said())
		}
	}
}

// Said is everything it has printed, errors among it.
func (p *Program) Said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.all.String()
}

// printed is what it has printed in whole lines on its standard output.
func (p *Program) printed() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return string(p.out.Bytes()[:1+bytes.LastIndexByte(p.out.Bytes(), '\n')])
}

// PID is its number among the processes.
func (p *Program) PID() int { return p.cmd.Process.Pid }

// Gone is closed when it has ended.
func (p *Program) Gone() <-chan struct{} { return p.gone }

// Signal sends it a signal.
func (p *Program) Signal(s os.Signal) {
	p.t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		p.t.Fatalf("%v: %v", p.cmd.Args, err)
	}
}

// Kill ends it as a power cut does.
func (p *Program) Kill() {
	_ = p.cmd.Process.Kill() // fails only where it has ended already
	<-p.gone
}

// Stop ends it as an operator does, and fails the test where it does not go in peace.
func (p *Program) Stop() {
	p.t.Helper()
	p.Signal(syscall.SIGTERM)
	select {
	case <-p.gone:
	case <-time.After(patience):
		p.t.Fatalf("%v did not stop:\n%s", p.cmd.Args, p.Said())
	}
	if code := p.cmd.ProcessState.ExitCode(); code != 0 {
		p.t.Fatalf("%v ended with %d:\n%s", p.cmd.Args, code, p.Said())
	}
}

// output takes what a program prints.
type output struct {
	p        *Program
	standard bool
}

func (o output) Write(b []byte) (int, error) {
	o.p.mu.Lock()
	defer o.p.mu.Unlock()
	if o.standard {
		o.p.out.Write(b)
	}
	return o.p.all.Write(b)
}
