package main

import (
	"flag"
	"fmt"
	"os"

	"coatbook/store/localpg"
)

// config is every setting of the program. Each has a flag or an environment variable, described once, here and in README.md.
type config struct {
	databaseURL string // DATABASE_URL: a PostgreSQL 15 or newer; empty starts a private one
	data        string // --data, COATBOOK_DATA: folder of the private PostgreSQL and the server's certificate
	listen      string // --listen, COATBOOK_LISTEN: address to serve on
	tls         string // --tls, COATBOOK_TLS: auto, off, or files
	certFile    string // --cert, COATBOOK_CERT: certificate chain, PEM
	keyFile     string // --key, COATBOOK_KEY: its private key, PEM
	origin      string // --origin, COATBOOK_ORIGIN: public address behind a proxy that changes the host

	sealKeys  string // --seal-keys, COATBOOK_SEAL_KEY: folder of the keys that seal closed shop days; empty is the data folder
	sealLog   string // --seal-log, --log of verify, COATBOOK_SEAL_LOG: list of the seals outside the database; empty is seals.log in the data folder
	publicKey string // --public-key of verify: public keys, or files with them, that seals must be signed with
	newKey    bool   // --new-key of seal

	siteCode, siteName, timeZone string // setup
	adminName, adminSignOn       string // setup
}

func readConfig(command string, args []string) (config, error) {
	c := config{databaseURL: os.Getenv("DATABASE_URL")}
	set := flag.NewFlagSet("coatbook "+command, flag.ContinueOnError)
	text := func(target *string, name, env, fallback, help string) {
		if v := os.Getenv(env); env != "" && v != "" {
			fallback = v
		}
		set.StringVar(target, name, fallback, help)
	}
	text(&c.data, "data", "COATBOOK_DATA", "", "data folder (default: one in the user's data folder)")
	text(&c.listen, "listen", "COATBOOK_LISTEN", "127.0.0.1:8080", "address to serve on")
	text(&c.tls, "tls", "COATBOOK_TLS", "auto", "auto: HTTPS with a certificate of its own unless only this machine can connect; off: plain HTTP behind a proxy that adds HTTPS")
	text(&c.certFile, "cert", "COATBOOK_CERT", "", "certificate chain file (PEM) of the shop's own")
	text(&c.keyFile, "key", "COATBOOK_KEY", "", "private key file (PEM) of the certificate")
	text(&c.origin, "origin", "COATBOOK_ORIGIN", "", "public address behind a proxy, such as https://coatbook.example")
	text(&c.sealKeys, "seal-keys", "COATBOOK_SEAL_KEY", "", "folder of the keys that seal closed shop days (default: the data folder)")
	text(&c.sealLog, "seal-log", "COATBOOK_SEAL_LOG", "", "list of the seals outside the database (default: seals.log in the data folder)")
	if command == "verify" {
		set.StringVar(&c.sealLog, "log", c.sealLog, "the same as --seal-log")
		text(&c.publicKey, "public-key", "", "", "public keys in base64, or files with them, that seals must be signed with")
	}
	if command == "seal" {
		set.BoolVar(&c.newKey, "new-key", false, "make a new key for each site first")
	}
	if command == "setup" {
		text(&c.siteCode, "site", "", "", "short code of the site, 2 to 8 capital letters and digits")
		text(&c.siteName, "name", "", "", "name of the site")
		text(&c.timeZone, "zone", "", "", "time zone of the site, such as America/Chicago")
		text(&c.adminName, "admin", "", "", "full name of the first administrator")
		text(&c.adminSignOn, "sign-on", "", "", "sign-on name of the first administrator, such as petra")
	}
	if err := set.Parse(args); err != nil {
		return c, err
	}
	if set.NArg() > 0 {
		return c, fmt.Errorf("%s takes no argument “%s”; see coatbook %s --help", command, set.Arg(0), command)
	}
	if (c.certFile == "") != (c.keyFile == "") {
		return c, fmt.Errorf("give both --cert and --key, or neither")
	}
	if c.data == "" {
		name := "coatbook"
		if command == "demo" {
			name = "demo"
		}
		dir, err := localpg.DefaultDir(name)
		if err != nil {
			return c, err
		}
		c.data = dir
	}
	return c, nil
}
