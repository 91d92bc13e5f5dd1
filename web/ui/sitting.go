package ui

import "context"

type signedKey struct{}

// WithSigned notes for the pages of a request whether the person has signed before in this sitting.
func WithSigned(ctx context.Context, signed bool) context.Context {
	return context.WithValue(ctx, signedKey{}, signed)
}

// SignedBefore reports whether the secret alone signs. Where nothing is known the page asks for the name as well.
func SignedBefore(ctx context.Context) bool {
	signed, _ := ctx.Value(signedKey{}).(bool)
	return signed
}

// A TakeBack offers the author of an entry to take it back at once. The zero one offers nothing.
type TakeBack struct {
	Record  string // the entry
	ID      string // the record that will void it
	What    string // such as "Film thickness of TH-24117-03"
	Seconds int    // how long the offer stands
}
