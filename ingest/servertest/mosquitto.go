package servertest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// MosquittoOptions is what a test may ask of the broker. The zero value is a
// broker for everyone, in the clear.
type MosquittoOptions struct {
	Username, Password string   // with a Username nobody else gets in
	TLS                bool     // serve mqtts under a certificate made for the test
	ClientCert         bool     // with TLS: ask clients for their certificate too
	Settings           []string // further lines of mosquitto.conf
}

// MosquittoServer is a running Mosquitto. It keeps sessions, retained and
// queued messages over Stop and Start; Kill loses what came since.
type MosquittoServer struct {
	*process
	Address string // 127.0.0.1:port
	URL     string // mqtt://… or mqtts://…
	TLS     TLSFiles
}

// Mosquitto starts a broker for the time of the test.
func Mosquitto(t testing.TB, o MosquittoOptions) *MosquittoServer {
	t.Helper()
	p := newProcess(t, "mosquitto")
	address := loopback(freePort(t))
	s := &MosquittoServer{process: p, Address: address, URL: "mqtt://" + address}
	if o.TLS {
		s.URL, s.TLS = "mqtts://"+address, newTLSFiles(t, p.dir)
	}
	p.args = []string{"-c", s.configure(o)}
	p.ready = func(ctx context.Context) error { return dial(ctx, address) }
	p.Start()
	return s
}

// configure writes mosquitto.conf and gives its path.
func (s *MosquittoServer) configure(o MosquittoOptions) string {
	s.t.Helper()
	_, port, _ := strings.Cut(s.Address, ":")
	lines := []string{
		"user root", // a broker started by root would else give up the right to its own directory
		"listener " + port + " 127.0.0.1",
		"persistence true",
		"persistence_location " + s.dir + "/",
		"max_queued_messages 0", // unbounded: the broker must not lose what a test counts
		"sys_interval 1",
	}
	if o.TLS {
		lines = append(lines, "cafile "+s.TLS.CA, "certfile "+s.TLS.ServerCert, "keyfile "+s.TLS.ServerKey,
			fmt.Sprintf("require_certificate %t", o.ClientCert))
	}
	if o.Username == "" {
		lines = append(lines, "allow_anonymous true")
	} else {
		lines = append(lines, "allow_anonymous false", "password_file "+s.passwords(o))
	}
	path := filepath.Join(s.dir, "mosquitto.conf")
	text := strings.Join(append(lines, o.Settings...), "\n") + "\n"
	s.must(os.WriteFile(path, []byte(text), 0o600))
	return path
}

// passwords writes the password file; the hashing is left to Mosquitto's own tool.
func (s *MosquittoServer) passwords(o MosquittoOptions) string {
	s.t.Helper()
	path := filepath.Join(s.dir, "passwords")
	cmd := exec.Command(binary(s.t, "mosquitto_passwd"), "-b", "-c", path, o.Username, o.Password)
	if out, err := cmd.CombinedOutput(); err != nil {
		s.t.Fatalf("servertest: mosquitto_passwd: %v: %s", err, out)
	}
	return path
}
