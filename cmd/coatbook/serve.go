package main

import (
	"context"
	"crypto/ed25519"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	"coatbook/store"
	"coatbook/store/demoshop"
	"coatbook/web"
)

func serve(ctx context.Context, log *slog.Logger, c config) error {
	db, _, closeBook, err := openBook(ctx, c)
	if err != nil {
		return err
	}
	defer closeBook()
	return listen(ctx, log, c, db, func(address string) error {
		fmt.Printf("Coatbook serves %s\n", address)
		sites, err := db.Sites(ctx)
		if err == nil && len(sites) == 0 {
			fmt.Println("The book is empty. Stop the server and run coatbook setup to open the first site.")
		}
		return err
	})
}

// demo serves the demo shop, loading it the first time, and prints who can sign on and how.
func demo(ctx context.Context, log *slog.Logger, c config) error {
	db, url, closeBook, err := openBook(ctx, c)
	if err != nil {
		return err
	}
	defer closeBook()
	sites, err := db.Sites(ctx)
	if err != nil {
		return err
	}
	loading := filepath.Join(c.data, "demo-loading")
	if _, err := os.Stat(loading); err == nil && len(sites) > 0 {
		return fmt.Errorf("loading the demo was cut short, so the book holds half a shop; remove the data folder %s (and empty the database, if DATABASE_URL names one), then start again", c.data)
	}
	if len(sites) == 0 {
		fmt.Printf("Loading %d shop days of Tern Hollow Metalworks, an invented shop …\n", demoshop.Days)
		if err := os.MkdirAll(c.data, 0o700); err != nil { // with DATABASE_URL nothing else has made it
			return fmt.Errorf("making the data folder: %w", err)
		}
		if err := os.WriteFile(loading, nil, 0o600); err != nil {
			return fmt.Errorf("marking the data folder: %w", err)
		}
		if err := loadDemo(ctx, db, url, c); err != nil {
			return err
		}
		if err := os.Remove(loading); err != nil {
			return fmt.Errorf("marking the data folder as loaded: %w", err)
		}
		if sites, err = db.Sites(ctx); err != nil {
			return err
		}
	}
	if sites[0].Name != "Tern Hollow Metalworks" {
		return fmt.Errorf("the data folder %s holds the records of %s; the demo needs a folder of its own (--data)", c.data, sites[0].Name)
	}
	return listen(ctx, log, c, db, func(address string) error {
		link, err := enrolmentLink(ctx, db, sites[0])
		if err != nil {
			return err
		}
		fmt.Printf("\nCoatbook serves the demo shop at %s\n\nOpen this once in your browser; it enrols it as a demo tablet, so that a name and PIN are enough:\n\n    %s%s\n\nThen sign on as one of:\n\n", address, address, link)
		for _, l := range demoshop.Logins {
			fmt.Printf("    %-16s %-14s PIN %s\n", l.Name, l.Role, l.PIN)
		}
		fmt.Print("\nEvery start prints a fresh link. Ctrl-C stops the server; the records stay in ", c.data, "\n")
		return nil
	})
}

// loadDemo loads the demo shop; the last statement waits for the disk and puts all of it there. What the saves allocate lives no
// longer than a save, so that the collector may wait.
func loadDemo(ctx context.Context, db *store.DB, url string, c config) error {
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	loader, err := demoshop.OpenLoader(ctx, url)
	if err != nil {
		return err
	}
	defer loader.Close()
	start := time.Now()
	keyFor := func(db *store.DB, site store.Site) (ed25519.PrivateKey, error) { return newSealKey(ctx, db, c, site) }
	if _, err := demoshop.Load(ctx, loader, start, keyFor); err != nil {
		return fmt.Errorf("loading the demo shop: %w", err)
	}
	if err := db.Analyze(ctx); err != nil {
		return err
	}
	fmt.Printf("Loaded in %s.\n", time.Since(start).Round(100*time.Millisecond))
	return nil
}

// enrolmentLink registers one more demo tablet and returns the path of its single-use link.
func enrolmentLink(ctx context.Context, db *store.DB, site store.Site) (string, error) {
	people, err := db.People(ctx, site.ID)
	if err != nil {
		return "", err
	}
	a := store.Actor{Site: site.ID}
	for _, p := range people {
		if p.SignOnName == "petra" {
			a.Person, a.Name, a.Roles = p.ID, p.Name, p.Roles
		}
	}
	stations, err := db.Stations(ctx, site.ID)
	if err != nil {
		return "", err
	}
	device := store.NewDevice{Name: "Demo tablet " + time.Now().Format("2006-01-02 15:04:05.000"), LocationClass: "unclassified"}
	for _, s := range stations {
		if s.Code == "FINAL-2" {
			device.Station = s.ID
		}
	}
	_, secret, err := db.AddDevice(ctx, a, device)
	return "/enrol/" + secret, err
}

// listen serves until ctx ends, then finishes open requests. started is told the address people open.
func listen(ctx context.Context, log *slog.Logger, c config, db *store.DB, started func(address string) error) error {
	listener, err := net.Listen("tcp", c.listen)
	if err != nil {
		return fmt.Errorf("listening on %s: %w", c.listen, err)
	}
	defer listener.Close()
	certificate, secure, err := certificateFor(c)
	if err != nil {
		return err
	}
	handler := web.New(db, log, web.Config{TLS: secure || c.tls == "off" && c.origin != "", PublicOrigin: c.origin})
	defer handler.Close()
	server := &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 60 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	scheme := "http"
	if secure {
		scheme = "https"
		server.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{certificate}}
	}
	failed := make(chan error, 1)
	go func() {
		if secure {
			failed <- server.ServeTLS(listener, "", "")
		} else {
			failed <- server.Serve(listener)
		}
	}()
	// Sealing ends before the pool does.
	sealing, stopSealing := context.WithCancel(ctx)
	sealed := make(chan struct{})
	go func() {
		defer close(sealed)
		sealDays(sealing, log, db, c)
	}()
	defer func() {
		stopSealing()
		<-sealed
	}()
	if err := started(scheme + "://" + shownAddress(listener.Addr())); err != nil {
		return err
	}
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	handler.Drain()
	drain, cancel := context.WithTimeout(context.WithoutCancel(ctx), 15*time.Second)
	defer cancel()
	if err := server.Shutdown(drain); err != nil && !errors.Is(err, http.ErrServerClosed) {
		log.Warn("some requests were cut off", "err", err)
	}
	return nil
}

// shownAddress is the listening address as people type it: the machine's name where it serves every interface.
func shownAddress(a net.Addr) string {
	host, port, err := net.SplitHostPort(a.String())
	if err != nil {
		return a.String()
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		if host, err = os.Hostname(); err != nil {
			host = "localhost"
		}
	}
	return net.JoinHostPort(host, port)
}

// health asks the server at the listen address whether it is ready.
func health(ctx context.Context, _ *slog.Logger, c config) error {
	_, port, err := net.SplitHostPort(c.listen)
	if err != nil {
		return err
	}
	scheme := "http"
	if _, secure, err := certificateFor(c); err == nil && secure {
		scheme = "https"
	}
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, scheme+"://127.0.0.1:"+port+"/healthz/ready", nil)
	if err != nil {
		return err
	}
	// The server's own certificate names the shop's host, not the loopback address this check comes in by.
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	answer, err := client.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("not ready: %s", answer.Status)
	}
	return nil
}
