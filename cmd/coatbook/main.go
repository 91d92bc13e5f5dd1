// Command coatbook is the quality record book of a shop that welds and powder-coats aluminium parts.
//
//	coatbook serve     serve the book
//	coatbook demo      the same, with the demo shop loaded the first time
//	coatbook setup     open the first site and invite its administrator
//	coatbook verify    hold the whole book against its seals and signatures, beside a running server too
//	coatbook seal      seal the shop days that are due and stop
//	coatbook migrate   bring the database up to date and stop
//	coatbook health    exit 0 when the server at the listen address is ready
//	coatbook calc      the statistics on a CSV file, without a database
package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"syscall"

	"coatbook/cmd/coatbook/calc"
	"coatbook/store"
	"coatbook/store/localpg"
)

func main() {
	if len(os.Args) > 1 && os.Args[1] == "calc" {
		os.Exit(calc.Run(os.Args[2:], os.Stdin, os.Stdout, os.Stderr))
	}
	// SIGINT and SIGTERM end the server in order: open requests first, then the pool, then the private PostgreSQL.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	log := slog.New(slog.NewJSONHandler(os.Stderr, nil))
	if err := run(ctx, log, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "coatbook: "+err.Error())
		os.Exit(1)
	}
}

const usage = `coatbook COMMAND [flags]

  serve     serve the book
  demo      the same, with the demo shop loaded the first time
  setup     open the first site and invite its administrator
  verify    hold the whole book against its seals and signatures
  seal      seal the shop days that are due and stop
  migrate   bring the database up to date and stop
  health    exit 0 when the server at the listen address is ready
  calc      the statistics on a CSV file, without a database

Each command takes --help. Settings may also come from the environment: see README.md`

func run(ctx context.Context, log *slog.Logger, args []string) error {
	if len(args) == 0 {
		return errors.New(usage)
	}
	commands := map[string]func(context.Context, *slog.Logger, config) error{"serve": serve, "demo": demo, "setup": setup, "verify": verify, "seal": sealNow, "migrate": migrateOnly, "health": health}
	command, known := commands[args[0]]
	if !known {
		return errors.New(usage)
	}
	c, err := readConfig(args[0], args[1:])
	if err != nil {
		return err
	}
	return command(ctx, log, c)
}

// openBook migrates and opens the database: the one at DATABASE_URL, or a private one in the data folder. close ends both.
func openBook(ctx context.Context, c config) (db *store.DB, url string, close func(), err error) {
	url = c.databaseURL
	stopServer := func() {}
	if url == "" {
		server, err := localpg.Start(ctx, c.data, localpg.Options{})
		if errors.Is(err, localpg.ErrInUse) {
			return nil, "", nil, fmt.Errorf("another Coatbook server is using the data folder %s; stop it first, or give this one a folder of its own with --data", c.data)
		}
		if err != nil {
			return nil, "", nil, err
		}
		stopServer = func() {
			if err := server.Stop(); err != nil {
				fmt.Fprintln(os.Stderr, "coatbook: stopping PostgreSQL: "+err.Error())
			}
		}
		url = server.URL("coatbook")
	}
	if err := store.Migrate(ctx, url); err != nil {
		stopServer()
		return nil, "", nil, err
	}
	db, err = store.Open(ctx, url)
	if err != nil {
		stopServer()
		return nil, "", nil, err
	}
	return db, url, func() { db.Close(); stopServer() }, nil
}

func migrateOnly(ctx context.Context, log *slog.Logger, c config) error {
	_, _, close, err := openBook(ctx, c)
	if err != nil {
		return err
	}
	close()
	log.Info("the database is up to date")
	return nil
}
