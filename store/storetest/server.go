package storetest

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"time"

	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/wait"

	"coatbook/store/localpg"
)

// findServer is the address of a server to test on, in the order the package promises. A container asked for
// and not to be had is an error: testing on something else would hide it.
func findServer(ctx context.Context) (string, error) {
	if address := os.Getenv("DATABASE_URL"); address != "" {
		return address, nil
	}
	if image := os.Getenv("COATBOOK_TEST_IMAGE"); image != "" {
		return startContainer(ctx, image)
	}
	return startLocal(ctx)
}

// startContainer runs the image, which must be on this machine: tests never pull one.
func startContainer(ctx context.Context, image string) (string, error) {
	if out, err := exec.CommandContext(ctx, "docker", "image", "inspect", image).CombinedOutput(); err != nil {
		return "", fmt.Errorf("COATBOOK_TEST_IMAGE names %s, but docker image inspect says: %w\n%s", image, err, out)
	}
	// The library's own cleaner is an image that would have to be pulled; afterwards does its work.
	os.Setenv("TESTCONTAINERS_RYUK_DISABLED", "true")
	if _, err := os.Stat("/.dockerenv"); err == nil && os.Getenv("TESTCONTAINERS_HOST_OVERRIDE") == "" {
		// Inside a container the library looks for published ports on the bridge's gateway, where a Docker
		// that runs beside us in the same container does not publish them.
		os.Setenv("TESTCONTAINERS_HOST_OVERRIDE", "127.0.0.1")
	}
	const user, password, database = "coatbook", "only-for-tests", "coatbook"
	container, err := testcontainers.Run(ctx, image,
		testcontainers.WithEnv(map[string]string{
			"POSTGRES_USER": user, "POSTGRES_PASSWORD": password, "POSTGRES_DB": database,
		}),
		testcontainers.WithCmd("postgres", "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "max_connections=300"),
		testcontainers.WithExposedPorts("5432/tcp"),
		testcontainers.WithWaitStrategy(wait.ForListeningPort("5432/tcp").WithStartupTimeout(time.Minute)),
	)
	if container != nil {
		if err := afterwards(`docker rm -f -v "$1" >/dev/null`, container.GetContainerID()); err != nil {
			return "", err
		}
	}
	if err != nil {
		return "", fmt.Errorf("start a container of %s: %w", image, err)
	}
	at, err := container.PortEndpoint(ctx, "5432/tcp", "")
	if err != nil {
		return "", fmt.Errorf("container of %s: %w", image, err)
	}
	return fmt.Sprintf("postgres://%s:%s@%s/%s?sslmode=disable", user, password, at, database), nil
}

// folderPattern names the folders of private servers.
const folderPattern = "coatbook-test-*"

// startLocal runs a private server in memory where the system has room for it: making and dropping a database
// is six times faster there than on a disk.
func startLocal(ctx context.Context) (string, error) {
	base := os.TempDir()
	if roomFor("/dev/shm", 512<<20) {
		base = "/dev/shm"
	}
	removeAbandoned(base)
	dir, err := os.MkdirTemp(base, folderPattern)
	if err != nil {
		return "", err
	}
	// Closed to others all the same, by the folder of the database's user inside.
	if err := os.Chmod(dir, 0o755); err != nil {
		return "", err
	}
	// Written for any way of ending: a fast shutdown where the kernel has not asked for it already, and the
	// folder gone once the postmaster has removed its pid file.
	err = afterwards(`pid="$1/box/pg/postmaster.pid"
		[ -f "$pid" ] && kill -INT "$(head -n 1 "$pid")"
		n=0; while [ -f "$pid" ] && [ $n -lt 100 ]; do sleep 0.1; n=$((n+1)); done
		rm -rf "$1"`, dir)
	if err != nil {
		return "", err
	}
	server, err := localpg.Start(ctx, dir, localpg.Options{Throwaway: true})
	if err != nil {
		return "", err
	}
	return server.URL(localpg.Superuser), nil
}

func roomFor(dir string, bytes uint64) bool {
	var fs syscall.Statfs_t
	return syscall.Statfs(dir, &fs) == nil && fs.Bavail*uint64(fs.Bsize) >= bytes
}

// removeAbandoned clears folders of test binaries that were killed together with their cleaner. A live one is
// locked; a folder younger than a minute may be about to be.
func removeAbandoned(base string) {
	dirs, _ := filepath.Glob(filepath.Join(base, folderPattern)) // the pattern is a constant
	for _, dir := range dirs {
		info, err := os.Stat(dir)
		if err != nil || time.Since(info.ModTime()) < time.Minute {
			continue
		}
		if lock, err := os.Open(filepath.Join(dir, "server.lock")); err == nil {
			err = syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
			lock.Close()
			if err != nil {
				continue
			}
		}
		_ = os.RemoveAll(dir) // another binary may be removing it too
	}
}

// cleaners are the pipes that tell each cleaner this process lives; only the end of the process closes them.
var cleaners []io.WriteCloser

// afterwards has a shell run the script once this process has ended, however it ended. A test binary has no
// other place for it: a package may or may not have a TestMain, and a killed one runs nothing.
func afterwards(script string, args ...string) error {
	cmd := exec.Command("sh", append([]string{"-c", "cat >/dev/null\n" + script, "sh"}, args...)...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C is for the tests, not for their cleaner
	pipe, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	cleaners = append(cleaners, pipe)
	return cmd.Start()
}
