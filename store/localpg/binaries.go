package localpg

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// MinMajor is the oldest PostgreSQL that Coatbook runs on.
const MinMajor = 15

// ErrNoBinaries means that no fitting PostgreSQL is installed.
var ErrNoBinaries = errors.New("PostgreSQL is not installed")

// Binaries is one installation of PostgreSQL.
type Binaries struct {
	Dir   string // the folder that holds postgres and initdb
	Major int    // 15, 16, …
}

// Where packages put PostgreSQL without putting it on PATH: Debian and Ubuntu, the PostgreSQL project's own
// RPMs, and Homebrew on both kinds of Mac.
var installPatterns = []string{
	"/usr/lib/postgresql/*/bin",
	"/usr/pgsql-*/bin",
	"/opt/homebrew/opt/postgresql@*/bin",
	"/usr/local/opt/postgresql@*/bin",
}

// FindBinaries looks for an installed PostgreSQL: first on PATH, then where packages put it, newest first.
// With major 0 any version from MinMajor on will do; otherwise only that one, because a data folder can be
// read by its own major version alone. The error wraps ErrNoBinaries and says what was found instead.
func FindBinaries(major int) (Binaries, error) {
	return findBinaries(major, candidateDirs(installPatterns), versionOf)
}

// findBinaries takes the first folder of dirs that fits; version asks a folder for its major version.
func findBinaries(major int, dirs []string, version func(dir string) (int, error)) (Binaries, error) {
	var others []string
	for _, dir := range dirs {
		found, err := version(dir)
		if err != nil {
			continue
		}
		if found == major || (major == 0 && found >= MinMajor) {
			return Binaries{Dir: dir, Major: found}, nil
		}
		others = append(others, fmt.Sprintf("version %d in %s", found, dir))
	}
	wanted := fmt.Sprintf("version %d or newer is needed", MinMajor)
	if major != 0 {
		wanted = fmt.Sprintf("this data folder needs version %d", major)
	}
	instead := "none was found"
	if len(others) > 0 {
		instead = "found only " + strings.Join(others, ", ")
	}
	return Binaries{}, fmt.Errorf("%w: %s; %s", ErrNoBinaries, wanted, instead)
}

// candidateDirs lists folders worth asking, PATH first and then each pattern's newest version first.
func candidateDirs(patterns []string) []string {
	var dirs []string
	if onPath, err := exec.LookPath("postgres"); err == nil {
		if real, err := filepath.EvalSymlinks(onPath); err == nil {
			dirs = append(dirs, filepath.Dir(real))
		}
	}
	for _, pattern := range patterns {
		found, err := filepath.Glob(pattern)
		if err != nil {
			panic(err) // the patterns are constants above
		}
		slices.SortFunc(found, func(a, b string) int { return pathNumber(b) - pathNumber(a) })
		dirs = append(dirs, found...)
	}
	return dirs
}

var lastNumber = regexp.MustCompile(`(\d+)\D*$`)

// pathNumber is the version in a folder's name: text order would put 9 after 17.
func pathNumber(dir string) int {
	if match := lastNumber.FindStringSubmatch(dir); match != nil {
		n, _ := strconv.Atoi(match[1]) // digits only; too many of them sort as 0, which is last
		return n
	}
	return 0
}

var versionLine = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

// versionOf asks the postgres in dir for its major version; initdb must lie beside it.
func versionOf(dir string) (int, error) {
	if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
		return 0, err
	}
	out, err := exec.Command(filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return 0, err
	}
	match := versionLine.FindStringSubmatch(string(out))
	if match == nil {
		return 0, fmt.Errorf("no version in %q", out)
	}
	return strconv.Atoi(match[1])
}

// clusterMajor reads which major version wrote the data folder; 0 means there is no database yet.
func clusterMajor(data string) (int, error) {
	text, err := os.ReadFile(filepath.Join(data, "PG_VERSION"))
	if errors.Is(err, os.ErrNotExist) {
		if _, err := os.Stat(data); err == nil {
			return 0, fmt.Errorf("%s exists but holds no PostgreSQL database; move it away or restore it", data)
		}
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("data folder: %w", err)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("data folder: PG_VERSION holds %q", text)
	}
	return major, nil
}
