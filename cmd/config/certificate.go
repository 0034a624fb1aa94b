package config

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
)

// checkPair holds a certificate and its key against each other, so that a fault in them has its line here.
func (r *reader) checkPair(section, certFile, keyFile string) {
	if (certFile == "") != (keyFile == "") {
		r.faultAt(section, "%s: cert_file and key_file belong together: give both", section)
	}
	if certFile == "" || keyFile == "" {
		return
	}
	certAt, keyAt := join(section, "cert_file"), join(section, "key_file")
	cert, certErr := os.ReadFile(certFile)
	if certErr != nil {
		r.faultAt(certAt, "%s: %s cannot be read: %v", certAt, certFile, certErr)
	}
	key, keyErr := os.ReadFile(keyFile)
	if keyErr != nil {
		r.faultAt(keyAt, "%s: %s cannot be read: %v", keyAt, keyFile, keyErr)
	}
	if certErr != nil || keyErr != nil {
		return
	}
	if !x509.NewCertPool().AppendCertsFromPEM(cert) {
		r.faultAt(certAt, "%s: %s: no certificate in PEM form is in it", certAt, certFile)
		return
	}
	if _, err := tls.X509KeyPair(cert, key); err != nil {
		r.faultAt(keyAt, "%s: %s is not the key of the certificate in %s, in PEM form and without a password: %v", keyAt, keyFile, certFile, err)
	}
}

// trusted reads a file of certificates in PEM form.
func (r *reader) trusted(text string) (path string, pool *x509.CertPool, err error) {
	if path, err = r.path(text); err != nil {
		return "", nil, err
	}
	pem, err := os.ReadFile(path)
	if err != nil {
		return "", nil, fmt.Errorf("%s cannot be read: %w", path, err)
	}
	pool = x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return "", nil, fmt.Errorf("%s: no certificate in PEM form is in it", path)
	}
	return path, pool, nil
}
