package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// localDBImage is the PostgreSQL image made here, for machines that reach no registry of images.
const localDBImage = "coatbook-postgres:local"

//go:embed postgres-entry.sh
var postgresEntry []byte

// databaseImage is the image to run PostgreSQL from: the one the environment names, or the one made here once.
func databaseImage() (string, error) {
	if image := os.Getenv("COATBOOK_DB_IMAGE"); image != "" {
		return image, nil
	}
	if exec.Command("docker", "image", "inspect", localDBImage).Run() == nil {
		return localDBImage, nil
	}
	return localDBImage, makeDatabaseImage()
}

// makeDatabaseImage installs this system's own release with PostgreSQL into a folder and imports that.
func makeDatabaseImage() (err error) {
	codename, mirror, err := aptSource()
	if err != nil {
		return err
	}
	root, err := os.MkdirTemp("/var/tmp", "coatbook-image-") // not /tmp, where devices are often forbidden
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, removeRoot(root)) }()
	err = quiet("debootstrap", "--variant=minbase", "--include=postgresql,ca-certificates", codename, root, mirror)
	if err != nil {
		return fmt.Errorf("debootstrap %s from %s: %w", codename, mirror, err)
	}
	if err := trim(root); err != nil {
		return err
	}
	entry := filepath.Join(root, "usr/local/bin/postgres-entry")
	if err := os.WriteFile(entry, postgresEntry, 0o755); err != nil {
		return err
	}
	return importImage(root)
}

// trim removes what an image does not need: downloads, documentation, and the database that the package made.
func trim(root string) error {
	for _, pattern := range []string{
		"var/cache/apt/archives/*.deb", "var/lib/apt/lists/*", "usr/share/doc/*", "usr/share/man/*",
		"usr/share/locale/*", "usr/share/info/*", "var/lib/postgresql/*", "etc/postgresql/*", "var/log/*",
	} {
		found, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil {
			return err
		}
		for _, path := range found {
			if err := os.RemoveAll(path); err != nil {
				return err
			}
		}
	}
	return nil
}

// importImage sends the folder to Docker as one layer.
func importImage(root string) error {
	tar := exec.Command("tar", "-C", root, "--numeric-owner", "-c", ".")
	load := exec.Command("docker", "import",
		"-c", `ENTRYPOINT ["/usr/local/bin/postgres-entry"]`, "-c", `CMD ["postgres"]`,
		"-c", "ENV PGDATA=/var/lib/postgresql/data", "-c", "ENV PATH=/usr/local/bin:/usr/bin:/bin:/usr/sbin:/sbin",
		"-c", "EXPOSE 5432", "-c", `VOLUME ["/var/lib/postgresql/data"]`, "-", localDBImage)
	var err error
	if load.Stdin, err = tar.StdoutPipe(); err != nil {
		return err
	}
	tar.Stderr, load.Stderr = os.Stderr, os.Stderr
	if err := tar.Start(); err != nil {
		return err
	}
	return errors.Join(load.Run(), tar.Wait())
}

// removeRoot removes the folder, but never through a mount that an interrupted debootstrap has left in it.
func removeRoot(root string) error {
	mounts, err := os.ReadFile("/proc/mounts")
	if err != nil {
		return err
	}
	if strings.Contains(string(mounts), " "+root+"/") {
		return fmt.Errorf("something is still mounted in %s: unmount it, then remove the folder", root)
	}
	return os.RemoveAll(root)
}

// aptSource reads which release this system is and where it gets its packages.
func aptSource() (codename, mirror string, err error) {
	release, err := os.ReadFile("/etc/os-release")
	if err != nil {
		return "", "", err
	}
	for line := range strings.Lines(string(release)) {
		if value, found := strings.CutPrefix(strings.TrimSpace(line), "VERSION_CODENAME="); found {
			codename = strings.Trim(value, `"'`)
		}
	}
	var texts []string
	for _, pattern := range []string{"sources.list", "sources.list.d/*.list", "sources.list.d/*.sources"} {
		paths, err := filepath.Glob(filepath.Join("/etc/apt", pattern))
		if err != nil {
			return "", "", err
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				return "", "", err
			}
			texts = append(texts, string(text))
		}
	}
	if mirror = mirrorOf(codename, texts); codename == "" || mirror == "" {
		return "", "", fmt.Errorf("no apt source for the release %q: set COATBOOK_DB_IMAGE to an image that is here", codename)
	}
	return codename, mirror, nil
}

// mirrorOf finds the address that serves the release itself in the texts of apt's sources, which come in two
// forms: one line ("deb [options] URI suite component"), or a paragraph of fields.
func mirrorOf(codename string, texts []string) string {
	for _, text := range texts {
		for paragraph := range strings.SplitSeq(text, "\n\n") {
			var uris, suites []string
			for line := range strings.Lines(paragraph) {
				fields := strings.Fields(line)
				switch {
				case len(fields) == 0:
				case fields[0] == "deb":
					if uri := oneLine(fields[1:], codename); uri != "" {
						return uri
					}
				case strings.EqualFold(fields[0], "URIs:"):
					uris = fields[1:]
				case strings.EqualFold(fields[0], "Suites:"):
					suites = fields[1:]
				}
			}
			if len(uris) > 0 && slices.Contains(suites, codename) {
				return uris[0]
			}
		}
	}
	return ""
}

// oneLine reads what follows "deb": options in brackets, then address, suite and components.
func oneLine(fields []string, codename string) string {
	if len(fields) > 0 && strings.HasPrefix(fields[0], "[") {
		end := slices.IndexFunc(fields, func(f string) bool { return strings.HasSuffix(f, "]") })
		fields = fields[end+1:]
	}
	if len(fields) >= 2 && fields[1] == codename {
		return fields[0]
	}
	return ""
}
