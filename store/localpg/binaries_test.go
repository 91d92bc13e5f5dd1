package localpg

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

func TestFindBinariesChoosesByMajor(t *testing.T) {
	versions := map[string]int{"/path": 14, "/seventeen": 17, "/fifteen": 15}
	version := func(dir string) (int, error) {
		if v, ok := versions[dir]; ok {
			return v, nil
		}
		return 0, fs.ErrNotExist
	}
	dirs := []string{"/empty", "/path", "/seventeen", "/fifteen"}
	for _, c := range []struct {
		name  string
		major int
		want  string
	}{
		{"any new enough, in the order given", 0, "/seventeen"},
		{"the data folder's own", 15, "/fifteen"},
		{"an old data folder keeps its old binaries", 14, "/path"},
	} {
		got, err := findBinaries(c.major, dirs, version)
		if err != nil || got.Dir != c.want || got.Major != versions[c.want] {
			t.Errorf("%s: got %+v, %v, want %s", c.name, got, err, c.want)
		}
	}
	_, err := findBinaries(16, dirs, version)
	if !errors.Is(err, ErrNoBinaries) {
		t.Fatalf("version 16 is not there, but the error is %v", err)
	}
	for _, part := range []string{"version 16", "version 14 in /path", "version 17 in /seventeen"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not name %q", err, part)
		}
	}
}

func TestCandidateDirsPutNewestFirst(t *testing.T) {
	root := t.TempDir()
	for _, v := range []string{"9.6", "17", "15"} {
		if err := os.MkdirAll(filepath.Join(root, v, "bin"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", t.TempDir())
	got := candidateDirs([]string{filepath.Join(root, "*", "bin")})
	want := []string{filepath.Join(root, "17/bin"), filepath.Join(root, "15/bin"), filepath.Join(root, "9.6/bin")}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestCandidateDirsResolveLinksOnPath(t *testing.T) {
	real, links := t.TempDir(), t.TempDir()
	program := filepath.Join(real, "postgres")
	if err := os.WriteFile(program, []byte("#!/bin/sh\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(program, filepath.Join(links, "postgres")); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", links)
	if got := candidateDirs(nil); len(got) != 1 || got[0] != real {
		t.Errorf("got %v, want the folder behind the link, %s", got, real)
	}
}

func TestInstalledPostgresIsFound(t *testing.T) {
	found, err := FindBinaries(0)
	if err != nil {
		t.Fatal(err)
	}
	if found.Major < MinMajor {
		t.Errorf("found version %d, want %d or newer", found.Major, MinMajor)
	}
}

// folder is a FileInfo with a chosen owner and mode.
type folder struct {
	mode     fs.FileMode
	uid, gid uint32
}

func (f folder) Name() string       { return "folder" }
func (f folder) Size() int64        { return 0 }
func (f folder) Mode() fs.FileMode  { return fs.ModeDir | f.mode }
func (f folder) ModTime() time.Time { return time.Time{} }
func (f folder) IsDir() bool        { return true }
func (f folder) Sys() any           { return &syscall.Stat_t{Uid: f.uid, Gid: f.gid} }

func TestMayEnterFollowsTheMode(t *testing.T) {
	who := account{"postgres", &syscall.Credential{Uid: 101, Gid: 104}}
	for _, c := range []struct {
		folder folder
		want   bool
	}{
		{folder{0o700, 0, 0}, false},
		{folder{0o755, 0, 0}, true},
		{folder{0o711, 0, 0}, true},
		{folder{0o700, 101, 0}, true},
		{folder{0o077, 101, 0}, false},
		{folder{0o710, 0, 104}, true},
		{folder{0o701, 0, 104}, false},
	} {
		if got := who.mayEnter(c.folder); got != c.want {
			t.Errorf("mode %o of %d:%d: may enter is %v, want %v", c.folder.mode, c.folder.uid, c.folder.gid, got, c.want)
		}
	}
}

func TestCanReachNamesTheClosedFolder(t *testing.T) {
	closed := filepath.Join(t.TempDir(), "closed")
	inside := filepath.Join(closed, "data")
	if err := os.MkdirAll(inside, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	// An id that owns nothing on the way, whoever runs the test.
	who := account{"postgres", &syscall.Credential{Uid: 4_000_000, Gid: 4_000_000}}
	err := who.canReach(inside)
	if err == nil || !strings.Contains(err.Error(), "may not enter") {
		t.Errorf("canReach: %v, want a refusal that names the closed folder", err)
	}
}

func TestIsPostmasterReadsPs(t *testing.T) {
	const data = "/Users/kim/Library/Application Support/coatbook/box/pg"
	for _, c := range []struct {
		line string
		want bool
	}{
		{"Ss   /opt/homebrew/opt/postgresql@17/bin/postgres -D " + data + " -c listen_addresses=\n", true},
		{"Z    (postgres)\n", false},
		{"Zs   /opt/homebrew/opt/postgresql@17/bin/postgres -D " + data + " -c port=5432\n", false},
		{"Ss   /opt/homebrew/opt/postgresql@17/bin/postgres -D " + data + "2 -c listen_addresses=\n", false},
		{"S+   vim " + data + "/postgresql.conf\n", false},
		{"", false},
	} {
		if got := isPostmaster(c.line, data); got != c.want {
			t.Errorf("%q: postmaster is %v, want %v", c.line, got, c.want)
		}
	}
}
