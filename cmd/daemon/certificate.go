package daemon

import (
	"crypto/tls"
	"fmt"
	"os"
	"sync"
	"time"
)

// certificate is a pair of files that may be renewed while spile runs.
type certificate struct {
	cert, key string

	mu     sync.Mutex // guards what follows
	loaded *tls.Certificate
	of     time.Time // when the file that was loaded was written
}

// serverTLS serves under a certificate; nil where no files are given.
func serverTLS(section, cert, key string) (*tls.Config, error) {
	if cert == "" {
		return nil, nil
	}
	c := &certificate{cert: cert, key: key}
	if _, err := c.get(nil); err != nil {
		return nil, fmt.Errorf("%s.cert_file and %s.key_file: %w", section, section, err)
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}, nil
}

// get gives the certificate of the files as they are. A new pair that does not
// fit, as in the midst of a renewal, leaves the old one in use.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	file, err := os.Stat(c.cert)
	if err == nil && c.loaded != nil && file.ModTime().Equal(c.of) {
		return c.loaded, nil
	}
	var pair tls.Certificate
	if err == nil {
		pair, err = tls.LoadX509KeyPair(c.cert, c.key)
	}
	switch {
	case err == nil:
		c.loaded, c.of = &pair, file.ModTime()
	case c.loaded == nil:
		return nil, err
	}
	return c.loaded, nil
}
