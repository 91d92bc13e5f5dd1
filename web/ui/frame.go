package ui

import (
	"strconv"
	"strings"
)

// pageFacts are what the scripts of a page need to know about who and when.
type pageFacts struct {
	personID, person string
	idleSeconds      int
	serverTime       string
}

func (f pageFacts) idle() string { return strconv.Itoa(f.idleSeconds) }

// The scripts of the two layouts, after the name of the layout's style sheet. Nothing is bundled: each file does one thing.
var (
	benchScripts = []string{"bench", "clock.js", "readings.js", "film.js", "scan.js", "drafts.js", "outbox.js", "preview.js", "lock.js", "pin.js"}
	deskScripts  = []string{"desk", "vendor/htmx-2.0.11.min.js", "vendor/htmx-ext-sse-2.2.4.min.js", "clock.js", "lock.js"}
)

func isModule(name string) bool { return !strings.HasPrefix(name, "vendor/") }
