// Package migrations carries the numbered SQL files that build the database, oldest first.
//
// They go forward only: a step back on quality records would lose them. Each file runs in one implicit
// transaction, so no file holds BEGIN or COMMIT, and CREATE INDEX CONCURRENTLY stands alone in its own file.
package migrations

import "embed"

// Files holds every migration, named 0001_title.up.sql and so on.
//
//go:embed *.sql
var Files embed.FS
