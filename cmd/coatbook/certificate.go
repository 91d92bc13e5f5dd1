package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"
)

// certificateFor returns the certificate to serve with, and whether to serve HTTPS at all. A browser keeps a sign-on only
// over HTTPS or from the same machine, so an address that other machines can reach gets HTTPS: with the shop's certificate,
// else with one of the server's own that browsers ask to trust once.
func certificateFor(c config) (tls.Certificate, bool, error) {
	switch {
	case c.certFile != "":
		pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
		return pair, true, err
	case c.tls == "off" || onlyThisMachine(c.listen):
		return tls.Certificate{}, false, nil
	case c.tls != "auto":
		return tls.Certificate{}, false, fmt.Errorf("--tls is auto or off, not “%s”", c.tls)
	}
	pair, err := ownCertificate(filepath.Join(c.data, "server.crt"), filepath.Join(c.data, "server.key"), time.Now())
	return pair, true, err
}

func onlyThisMachine(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// ownCertificate returns the server's own certificate, making one for two years when there is none or it is about to end.
func ownCertificate(certFile, keyFile string, now time.Time) (tls.Certificate, error) {
	pair, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err == nil && pair.Leaf != nil && pair.Leaf.NotAfter.After(now.AddDate(0, 1, 0)) {
		return pair, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return pair, fmt.Errorf("reading the server's certificate: %w", err)
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return pair, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return pair, err
	}
	host, err := os.Hostname()
	if err != nil {
		host = "coatbook"
	}
	template := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: host}, NotBefore: now.Add(-time.Hour), NotAfter: now.AddDate(2, 0, 0),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, DNSNames: []string{host, "localhost"}}
	if addresses, err := net.InterfaceAddrs(); err == nil {
		for _, a := range addresses {
			if n, ok := a.(*net.IPNet); ok {
				template.IPAddresses = append(template.IPAddresses, n.IP)
			}
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return pair, err
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return pair, err
	}
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	keyPEM := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})
	if err := os.MkdirAll(filepath.Dir(certFile), 0o711); err != nil {
		return pair, err
	}
	if err := os.WriteFile(keyFile, keyPEM, 0o600); err != nil {
		return pair, err
	}
	if err := os.WriteFile(certFile, certPEM, 0o644); err != nil {
		return pair, err
	}
	return tls.X509KeyPair(certPEM, keyPEM)
}
