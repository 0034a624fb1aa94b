package servertest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TLSFiles are the paths of PEM files made for one test: an authority, a
// server on 127.0.0.1 and a client, both signed by it.
type TLSFiles struct {
	CA, ServerCert, ServerKey, ClientCert, ClientKey string
}

// NewTLSFiles makes the files of a test.
func NewTLSFiles(t testing.TB) TLSFiles {
	t.Helper()
	return newTLSFiles(t, t.TempDir())
}

// authority signs the certificates of one test.
type authority struct {
	t    testing.TB
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

func newTLSFiles(t testing.TB, dir string) TLSFiles {
	t.Helper()
	a := &authority{t: t, dir: dir}
	ca, _ := a.issue("ca", &x509.Certificate{
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	})
	files := TLSFiles{CA: ca}
	files.ServerCert, files.ServerKey = a.issue("server", &x509.Certificate{
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	})
	files.ClientCert, files.ClientKey = a.issue("client", &x509.Certificate{
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth},
	})
	return files
}

// issue makes a key and a certificate for it and writes both. The first one
// issued signs itself and all that follow.
func (a *authority) issue(name string, template *x509.Certificate) (certPath, keyPath string) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	a.must(err)
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 64))
	a.must(err)
	template.SerialNumber = serial
	template.Subject = pkix.Name{CommonName: name}
	template.NotBefore = time.Now().Add(-time.Hour)
	template.NotAfter = time.Now().Add(24 * time.Hour)
	if a.cert == nil {
		a.cert, a.key = template, key
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &key.PublicKey, a.key)
	a.must(err)
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	a.must(err)
	return a.write(name+".crt", "CERTIFICATE", der), a.write(name+".key", "PRIVATE KEY", keyDER)
}

func (a *authority) write(name, kind string, der []byte) string {
	a.t.Helper()
	path := filepath.Join(a.dir, name)
	a.must(os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600))
	return path
}

func (a *authority) must(err error) {
	a.t.Helper()
	if err != nil {
		a.t.Fatalf("servertest: %v", err)
	}
}
