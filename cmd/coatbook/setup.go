package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"coatbook/store"
)

// setup opens a site, adds its first administrator and prints the single-use link with which they set their secrets. There
// is no default account.
func setup(ctx context.Context, _ *slog.Logger, c config) error {
	if c.siteCode == "" || c.siteName == "" || c.timeZone == "" || c.adminName == "" || c.adminSignOn == "" {
		return errors.New(`setup needs all of: --site TH --name "Tern Hollow Metalworks" --zone America/Chicago --admin "Petra Lindqvist" --sign-on petra`)
	}
	db, _, closeBook, err := openBook(ctx, c)
	if err != nil {
		return err
	}
	defer closeBook()
	sentence := func(err error) error {
		var refusal *store.Refusal
		if errors.As(err, &refusal) {
			return errors.New(refusal.Sentence)
		}
		return err
	}
	site, err := db.AddSite(ctx, store.NewSite{Code: c.siteCode, Name: c.siteName, TimeZone: c.timeZone})
	if err != nil {
		return sentence(err)
	}
	key, err := newSealKey(ctx, db, c, site)
	if err != nil {
		return sentence(err)
	}
	founder := store.Actor{Site: site.ID}
	admin, err := db.AddPerson(ctx, founder, store.NewPerson{Name: c.adminName, SignOnName: c.adminSignOn, Roles: []string{store.Administrator}})
	if err != nil {
		return sentence(err)
	}
	secret, err := db.Invite(ctx, founder, admin.ID)
	if err != nil {
		return sentence(err)
	}
	fmt.Printf("%s is open. Start the server with coatbook serve, then open this link once, within three days, to set %s's secrets:\n\n    /invite/%s\n\n"+
		"(behind the address of the server, such as http://127.0.0.1:8080). Whoever has the link can become the administrator; keep it to yourself.\n", site.Name, admin.Name, secret)
	printKey(c, site, key)
	return nil
}
