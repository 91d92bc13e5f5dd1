package main

import (
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"strings"
	"time"

	"coatbook/store"
	"coatbook/store/localpg"
)

// attachBook opens the database without migrating it, beside a server that runs on it or by itself.
func attachBook(ctx context.Context, c config) (*store.DB, func(), error) {
	url, stop := c.databaseURL, func() {}
	if url == "" {
		server, err := localpg.Start(ctx, c.data, localpg.Options{})
		switch {
		case errors.Is(err, localpg.ErrInUse):
			if url, err = localpg.RunningURL(c.data, localpg.Superuser); err != nil {
				return nil, nil, err
			}
		case err != nil:
			return nil, nil, err
		default:
			url = server.URL(localpg.Superuser)
			stop = func() {
				if err := server.Stop(); err != nil {
					fmt.Fprintln(os.Stderr, "coatbook: stopping PostgreSQL: "+err.Error())
				}
			}
		}
	}
	db, err := store.Open(ctx, url)
	if err != nil {
		stop()
		return nil, nil, err
	}
	return db, func() { db.Close(); stop() }, nil
}

// verify holds the whole book against its seals, signatures and the list of heads outside. It returns an error, which names
// the first thing that does not match, when something does not.
func verify(ctx context.Context, _ *slog.Logger, c config) error {
	db, closeBook, err := attachBook(ctx, c)
	if err != nil {
		return err
	}
	defer closeBook()
	name := c.sealLogFile()
	heads, err := readHeads(name)
	switch {
	case errors.Is(err, fs.ErrNotExist) && c.sealLog == "":
		fmt.Printf("There is no list of seals at %s: a book that was cut short cannot be told from a whole one.\n", name)
	case err != nil:
		return err
	}
	sites, err := db.Sites(ctx)
	if err != nil {
		return err
	}
	first, count := "", 0
	for _, site := range sites {
		trust := store.Trust{Heads: heads[site.ID]}
		if trust.Keys, err = trustedKeys(c, site); err != nil {
			return err
		}
		start := time.Now()
		v, err := db.Verify(ctx, site, trust)
		if err != nil {
			return fmt.Errorf("verifying %s: %w", site.Code, err)
		}
		reportVerified(site, v, len(trust.Keys), time.Since(start))
		for _, m := range v.Mismatches {
			count++
			if first == "" {
				first = m.Sentence
			}
		}
	}
	if count > 0 {
		return fmt.Errorf("the book does not verify (%d found). First: %s", count, first)
	}
	return nil
}

func reportVerified(site store.Site, v store.Verified, keys int, took time.Duration) {
	fmt.Printf("%s (%s)\n", site.Name, site.Code)
	if v.Seals > 0 {
		fmt.Printf("  %d seals up to %s, %d of them also in the list outside the database\n", v.Seals, v.Last.ShopDay.Format(time.DateOnly), v.Anchored)
	}
	if keys == 0 {
		fmt.Println("  signatures checked with the keys in the database itself; give --public-key to check with one kept elsewhere")
	}
	fmt.Printf("  %d leaves of %d rows, %d content hashes and signatures, in %s (%.0f rows a second)\n", v.Leaves, v.Rows, v.Hashes, took.Round(time.Millisecond), float64(v.Rows)/took.Seconds())
	fmt.Printf("  %d groups of rows since the last seal, not sealed yet\n", v.Open)
	for _, m := range v.Mismatches {
		fmt.Println("  ✗ " + m.Sentence)
	}
	if len(v.Mismatches) == 0 {
		fmt.Println("  Everything is as it was sealed and signed.")
	}
}

// trustedKeys are the public keys given on the command line, each itself or the file it is in; else those in the file beside
// the private key; else none.
func trustedKeys(c config, site store.Site) (keys []ed25519.PublicKey, err error) {
	given := strings.FieldsFunc(c.publicKey, func(r rune) bool { return r == ',' || r == ' ' })
	if len(given) == 0 {
		if _, err := os.Stat(c.publicFile(site)); err == nil {
			given = []string{c.publicFile(site)}
		}
	}
	for _, text := range given {
		if _, err := parseKey(text); err != nil {
			file, err := os.ReadFile(text)
			if err != nil {
				return nil, fmt.Errorf("“%s” is neither a public key nor a file with one: %w", text, err)
			}
			text = string(file)
		}
		for _, line := range strings.Fields(text) {
			key, err := parseKey(line)
			if err != nil {
				return nil, err
			}
			keys = append(keys, key)
		}
	}
	return keys, nil
}

func parseKey(text string) (ed25519.PublicKey, error) {
	key, err := base64.StdEncoding.DecodeString(text)
	if err != nil || len(key) != ed25519.PublicKeySize {
		return nil, fmt.Errorf("“%s” is not a public key: 32 bytes in base64", text)
	}
	return key, nil
}
