package main

import (
	"net"
	"testing"
	"time"
)

func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func TestOwnCertificateIsMadeOnceAndRenewedBeforeItEnds(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	first, err := ownCertificate(dir+"/c", dir+"/k", now)
	if err != nil {
		t.Fatal(err)
	}
	again, err := ownCertificate(dir+"/c", dir+"/k", now.AddDate(1, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	if string(first.Certificate[0]) != string(again.Certificate[0]) {
		t.Error("a good certificate was replaced")
	}
	later, err := ownCertificate(dir+"/c", dir+"/k", now.AddDate(2, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	if string(first.Certificate[0]) == string(later.Certificate[0]) {
		t.Error("a certificate about to end was kept")
	}
}

func TestOnlyThisMachineNeedsNoHTTPS(t *testing.T) {
	for listen, want := range map[string]bool{"127.0.0.1:8080": true, "localhost:80": true, "[::1]:80": true, "0.0.0.0:80": false, ":80": false, "192.0.2.7:80": false} {
		if got := onlyThisMachine(listen); got != want {
			t.Errorf("%s: %v, want %v", listen, got, want)
		}
	}
}
