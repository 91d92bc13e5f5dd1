// Package static carries the style sheets, scripts and fonts, and gives each an address that changes with its content.
// Nothing is loaded from another host.
package static

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"strings"
)

//go:embed *.css *.js *.svg fonts vendor
var files embed.FS

// version is one fingerprint of all files. One for all, because scripts and style sheets name each other by plain relative
// addresses, which then stay inside the same version.
var version = fingerprint()

func fingerprint() string {
	sum := sha256.New()
	// The walk is in name order, so that every server of one build gives the same addresses.
	err := fs.WalkDir(files, ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		body, err := files.ReadFile(path)
		if err != nil {
			return err
		}
		sum.Write([]byte(path))
		sum.Write(body)
		return nil
	})
	if err != nil {
		panic("static: embedded files cannot be read: " + err.Error())
	}
	return hex.EncodeToString(sum.Sum(nil))[:12]
}

// Prefix is where the files are served: /static/VERSION/.
func Prefix() string { return "/static/" + version + "/" }

// Path returns the address of an embedded file, such as coatbook.css.
func Path(name string) string { return Prefix() + name }

// Handler serves the files under /static/VERSION/. The address changes with the content, so a browser may keep them for
// good; a page from an older build that asks for an older version gets today's file, to be asked for again.
func Handler() http.Handler {
	server := http.FileServerFS(files)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked, name, found := strings.Cut(strings.TrimPrefix(r.URL.Path, "/static/"), "/")
		if !found || name == "" || strings.HasSuffix(name, "/") {
			http.NotFound(w, r)
			return
		}
		if asked == version {
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		} else {
			w.Header().Set("Cache-Control", "no-cache")
		}
		if name == "sheets-worker.js" {
			// A worker may answer for addresses under its own folder; this one answers for the sheets and nothing else.
			w.Header().Set("Service-Worker-Allowed", "/sheets")
		}
		inner := r.Clone(r.Context())
		inner.URL.Path = "/" + name
		server.ServeHTTP(w, inner)
	})
}
