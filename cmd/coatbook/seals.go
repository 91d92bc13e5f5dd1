package main

import (
	"bufio"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
)

// sealEvery is how often the server looks for a shop day to seal.
const sealEvery = time.Minute

// sealKeyFile is where the private key of a site's seals is kept; the public keys stand beside it, a line each.
func (c config) sealKeyFile(site store.Site) string {
	return filepath.Join(c.sealKeyFolder(), "seal-"+site.Code+".key")
}

func (c config) publicFile(site store.Site) string {
	return filepath.Join(c.sealKeyFolder(), "seal-"+site.Code+".pub")
}

func (c config) sealKeyFolder() string {
	if c.sealKeys != "" {
		return c.sealKeys
	}
	return c.data
}

func (c config) sealLogFile() string {
	if c.sealLog != "" {
		return c.sealLog
	}
	return filepath.Join(c.data, "seals.log")
}

// errNoSealKey says that the site has a key and this server does not hold it.
var errNoSealKey = errors.New("this server has no key for the seals of the site; another server may have it")

// sealKey returns the site's private key. A site that has none yet gets one; a key file that is not registered is refused,
// because a lost key must not be replaced without anybody's knowing.
func sealKey(ctx context.Context, db *store.DB, c config, site store.Site) (ed25519.PrivateKey, error) {
	known, err := db.SealKeys(ctx, site.ID)
	if err != nil {
		return nil, err
	}
	key, err := readKey(c.sealKeyFile(site))
	switch {
	case errors.Is(err, fs.ErrNotExist) && len(known) == 0:
		return newSealKey(ctx, db, c, site)
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: looked for %s. If the key is lost, make a new one with coatbook seal --new-key", errNoSealKey, c.sealKeyFile(site))
	case err != nil:
		return nil, err
	}
	public := key.Public().(ed25519.PublicKey)
	if _, registered := known[store.KeyID(public)]; !registered {
		return nil, fmt.Errorf("the key in %s is not one of the site's; make a new one with coatbook seal --new-key", c.sealKeyFile(site))
	}
	return key, nil
}

// newSealKey makes a key, writes it to its file, which only its owner may read, and registers it. An older key file is kept
// under its key's id.
func newSealKey(ctx context.Context, db *store.DB, c config, site store.Site) (ed25519.PrivateKey, error) {
	public, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(c.sealKeyFolder(), 0o711); err != nil {
		return nil, fmt.Errorf("folder of the seal keys: %w", err)
	}
	name := c.sealKeyFile(site)
	if old, err := readKey(name); err == nil {
		if err := os.Rename(name, name+"."+store.KeyID(old.Public().(ed25519.PublicKey))); err != nil {
			return nil, err
		}
	}
	if err := appendSynced(name, 0o600, string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))); err != nil {
		return nil, fmt.Errorf("writing the seal key: %w", err)
	}
	if err := appendSynced(c.publicFile(site), 0o644, base64.StdEncoding.EncodeToString(public)+"\n"); err != nil {
		return nil, fmt.Errorf("writing the public seal key: %w", err)
	}
	return key, db.AddSealKey(ctx, store.Actor{Site: site.ID}, public)
}

func readKey(name string) (ed25519.PrivateKey, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("%s holds no key", name)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	key, ok := parsed.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%s holds a key of another kind than Ed25519", name)
	}
	return key, nil
}

// appendSynced adds text to a file and returns when it is on disk.
func appendSynced(name string, mode fs.FileMode, text string) error {
	file, err := os.OpenFile(name, os.O_CREATE|os.O_WRONLY|os.O_APPEND, mode)
	if err != nil {
		return err
	}
	if _, err := file.WriteString(text); err != nil {
		file.Close()
		return err
	}
	if err := file.Sync(); err != nil {
		file.Close()
		return err
	}
	return file.Close()
}

// sealDays seals shop days as they close until ctx ends, beginning with those that closed while no server ran, and keeps the
// list of heads outside the database.
func sealDays(ctx context.Context, log *slog.Logger, db *store.DB, c config) {
	said := map[string]bool{}
	tick := time.NewTicker(sealEvery)
	defer tick.Stop()
	for {
		if err := sealOnce(ctx, log, db, c); err != nil && ctx.Err() == nil {
			// One line for each thing that is wrong, not one a minute.
			if sentence := err.Error(); !said[sentence] {
				said[sentence] = true
				log.Error("sealing", "err", sentence)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// sealOnce seals what is due at every site and writes the heads that the list does not have.
func sealOnce(ctx context.Context, log *slog.Logger, db *store.DB, c config) error {
	sites, err := db.Sites(ctx)
	if err != nil {
		return err
	}
	var failed []error
	for _, site := range sites {
		key, err := sealKey(ctx, db, c, site)
		if err == nil {
			var n int
			if n, err = db.SealDays(ctx, site.ID, key); n > 0 {
				log.Info("sealed", "site", site.Code, "days", n)
			}
		}
		if err != nil {
			failed = append(failed, fmt.Errorf("%s: %w", site.Code, err))
		}
		if err := keepHeads(ctx, db, c.sealLogFile(), site); err != nil {
			failed = append(failed, fmt.Errorf("%s: %w", site.Code, err))
		}
	}
	return errors.Join(failed...)
}

// keepHeads appends to the list outside the database every seal it does not have. Every server does so, whichever sealed.
func keepHeads(ctx context.Context, db *store.DB, name string, site store.Site) error {
	heads, err := readHeads(name)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	if err != nil {
		return err
	}
	last := int64(0)
	for number := range heads[site.ID] {
		last = max(last, number)
	}
	seals, err := db.SealsAfter(ctx, site.ID, last)
	if err != nil {
		return err
	}
	var lines strings.Builder
	for _, s := range seals {
		lines.WriteString(s.LogLine() + "\n")
	}
	if lines.Len() == 0 {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o711); err != nil {
		return fmt.Errorf("folder of the list of seals: %w", err)
	}
	if err := appendSynced(name, 0o600, lines.String()); err != nil {
		return fmt.Errorf("writing the list of seals: %w", err)
	}
	return nil
}

// readHeads reads the list of seals: the head of each by site and number.
func readHeads(name string) (map[uuid.UUID]map[int64]string, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	heads := map[uuid.UUID]map[int64]string{}
	lines := bufio.NewScanner(file)
	for n := 1; lines.Scan(); n++ {
		var site, day, head, key, signature string
		var number, leaves int64
		if _, err := fmt.Sscan(lines.Text(), &site, &number, &day, &leaves, &head, &key, &signature); err != nil {
			return nil, fmt.Errorf("line %d of %s is not a seal: %q", n, name, lines.Text())
		}
		id, err := uuid.Parse(site)
		if err != nil {
			return nil, fmt.Errorf("line %d of %s names no site: %w", n, name, err)
		}
		if heads[id] == nil {
			heads[id] = map[int64]string{}
		}
		if before, twice := heads[id][number]; twice && before != head {
			return nil, fmt.Errorf("line %d of %s: seal %d has another head than before in the list", n, name, number)
		}
		heads[id][number] = head
	}
	return heads, lines.Err()
}

// sealNow seals what is due and stops; with a new key first, where the old one is lost or known to others.
func sealNow(ctx context.Context, log *slog.Logger, c config) error {
	db, closeBook, err := attachBook(ctx, c)
	if err != nil {
		return err
	}
	defer closeBook()
	if c.newKey {
		sites, err := db.Sites(ctx)
		if err != nil {
			return err
		}
		for _, site := range sites {
			key, err := newSealKey(ctx, db, c, site)
			if err != nil {
				return err
			}
			printKey(c, site, key)
		}
	}
	return sealOnce(ctx, log, db, c)
}

// printKey says what to keep elsewhere.
func printKey(c config, site store.Site, key ed25519.PrivateKey) {
	public := key.Public().(ed25519.PublicKey)
	fmt.Printf("Each closed shop day of %s is sealed with the key in %s.\nIts public half is %s (key %s).\nKeep a copy of the key, and now and then of %s, where nobody who can change the database can reach them.\n",
		site.Name, c.sealKeyFile(site), base64.StdEncoding.EncodeToString(public), store.KeyID(public), c.sealLogFile())
}
