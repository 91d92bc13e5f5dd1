// Package localpg runs a private PostgreSQL from the binaries installed on this machine.
//
// It is the database of a Coatbook that was given none: no port, only a socket in a folder that nobody else
// may enter, and full durability. One process owns a data folder at a time. Whatever the last owner left
// behind, a running postmaster or the lock files of a dead one, is cleared by the next Start.
package localpg

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Superuser is the role that owns the private database, and Database is the database's name.
const (
	Superuser = "coatbook"
	Database  = "coatbook"
)

// Fast shutdown ends sessions and writes a checkpoint, so it needs seconds at most; immediate shutdown
// needs no time at all. Both are generous, because a machine under load is the one that gets stopped.
const (
	fastShutdown      = 30 * time.Second
	immediateShutdown = 10 * time.Second
)

// Options changes how Start runs the server. The zero value is what a shop wants.
type Options struct {
	// Throwaway gives up durability for speed. Only for databases that tests make and drop.
	Throwaway bool

	// orphan leaves the server running when this process is killed, as it is on systems that cannot tie
	// the two together. Tests use it to show that the next start copes.
	orphan bool
}

// Server is a running PostgreSQL. Use Start to get one.
type Server struct {
	dir     string // the data folder as given
	box     string // folder of the database's own user, mode 0700
	data    string // box/pg
	sockets string // box, or a temporary folder when box is too long a path for a socket
	who     account
	lock    *os.File
	pid     int
	done    chan struct{} // closed when the postmaster has ended
	exit    error         // how it ended; read after done
	stop    sync.Once
	stopErr error
}

// Start runs PostgreSQL on the data folder dir and returns when it answers. An empty or missing folder gets a
// new database; a folder that holds one is never re-created, and needs binaries of the same major version.
//
// The error wraps ErrInUse when another process owns the folder and ErrNoBinaries when PostgreSQL is not
// installed. When ctx ends before the server answers, the server is stopped again. Call Stop in the end.
func Start(ctx context.Context, dir string, opts Options) (*Server, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("data folder: %w", err)
	}
	// PostgreSQL reports its folder with links resolved, and left-overs are recognised by that name.
	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return nil, fmt.Errorf("data folder: %w", err)
	}
	lock, err := takeLock(dir)
	if err != nil {
		return nil, err
	}
	s := &Server{dir: dir, box: filepath.Join(dir, "box"), lock: lock, done: make(chan struct{})}
	s.data = filepath.Join(s.box, "pg")
	s.sockets = s.box
	if err := s.start(ctx, opts); err != nil {
		s.release()
		return nil, err
	}
	if err := s.await(ctx); err != nil {
		return nil, errors.Join(err, s.Stop())
	}
	return s, nil
}

// start does everything up to a running postmaster that may not answer yet.
func (s *Server) start(ctx context.Context, opts Options) error {
	if err := s.makeBox(); err != nil {
		return err
	}
	major, err := clusterMajor(s.data)
	if err != nil {
		return err
	}
	bin, err := FindBinaries(major)
	if err != nil {
		return err
	}
	if err := s.clearLeftovers(ctx); err != nil {
		return err
	}
	if major == 0 {
		if err := s.initdb(ctx, bin, opts); err != nil {
			return err
		}
	}
	if err := s.chooseSockets(); err != nil {
		return err
	}
	return s.launch(bin, opts)
}

// makeBox creates the folder that belongs to the user PostgreSQL runs as.
func (s *Server) makeBox() (err error) {
	if s.who, err = databaseUser(s.box); err != nil {
		return err
	}
	if err := s.who.canReach(s.dir); err != nil {
		return err
	}
	if err := os.Mkdir(s.box, 0o700); err != nil && !errors.Is(err, os.ErrExist) {
		return fmt.Errorf("database folder: %w", err)
	}
	if err := s.who.own(s.box); err != nil {
		return fmt.Errorf("database folder: %w", err)
	}
	return nil
}

// initdb makes a new cluster beside its final place and moves it there whole, so that a kill in the middle
// never leaves half a database that looks like one.
func (s *Server) initdb(ctx context.Context, bin Binaries, opts Options) error {
	fresh := filepath.Join(s.box, "pg.new")
	if err := os.RemoveAll(fresh); err != nil {
		return fmt.Errorf("remove an unfinished database: %w", err)
	}
	args := []string{"-D", fresh, "-U", Superuser, "--auth=trust", "--encoding=UTF8", "--data-checksums"}
	args = append(args, localeArgs()...)
	if opts.Throwaway {
		args = append(args, "--no-sync")
	}
	cmd := exec.Command(filepath.Join(bin.Dir, "initdb"), args...)
	s.prepare(cmd, Options{})
	var out strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &out
	started, ended := runTied(cmd)
	if err := <-started; err != nil {
		return fmt.Errorf("initdb: %w", err)
	}
	select {
	case err := <-ended:
		if err != nil {
			return fmt.Errorf("initdb: %w\n%s", err, lastLines(out.String()))
		}
	case <-ctx.Done():
		// Killing a process that has just ended is no harm: it is not yet waited for.
		_ = cmd.Process.Kill()
		<-ended
		return fmt.Errorf("initdb: %w", ctx.Err())
	}
	if err := os.Rename(fresh, s.data); err != nil {
		return fmt.Errorf("put the new database in place: %w", err)
	}
	return syncDir(s.box)
}

// launch starts the postmaster and the goroutine that waits for its end.
func (s *Server) launch(bin Binaries, opts Options) error {
	log, err := openLog(s.logPath())
	if err != nil {
		return err
	}
	defer log.Close() // the child has its own copy
	cmd := exec.Command(filepath.Join(bin.Dir, "postgres"), s.settings(opts)...)
	s.prepare(cmd, opts)
	cmd.Stdout, cmd.Stderr = log, log
	started, ended := runTied(cmd)
	if err := <-started; err != nil {
		return fmt.Errorf("start PostgreSQL: %w", err)
	}
	s.pid = cmd.Process.Pid
	go func() {
		s.exit = <-ended
		close(s.done)
	}()
	return nil
}

// settings are the postmaster's arguments. Durability stands here although it is the default, because the
// command line wins over anything that was ever written with ALTER SYSTEM.
func (s *Server) settings(opts Options) []string {
	set := []string{
		"listen_addresses=", "port=5432", "timezone=UTC",
		"update_process_title=off", // nobody watches, and it costs a little with every statement
		"unix_socket_directories=" + s.sockets, "unix_socket_permissions=0700",
	}
	if opts.Throwaway {
		// Shared memory inside the data folder goes with it when a test is killed; many tests run side by side.
		set = append(set, "fsync=off", "synchronous_commit=off", "full_page_writes=off",
			"dynamic_shared_memory_type=mmap", "max_connections=300")
	} else {
		set = append(set, "fsync=on", "synchronous_commit=on", "full_page_writes=on")
	}
	args := []string{"-D", s.data}
	for _, assignment := range set {
		args = append(args, "-c", assignment)
	}
	return args
}

// prepare gives a child the database's user, a folder that user may stand in and a known environment. Its own
// process group keeps Ctrl-C in a terminal from stopping PostgreSQL before Coatbook has finished with it.
func (s *Server) prepare(cmd *exec.Cmd, opts Options) {
	cmd.Dir = s.box
	cmd.Env = append([]string{"PATH=/usr/bin:/bin", "TZ=UTC"}, localeEnv()...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Credential: s.who.credential}
	if !opts.orphan {
		dieWithParent(cmd.SysProcAttr)
	}
}

// await returns when the server answers and the database exists. Recovery after a crash may take long, so
// there is no limit but ctx and the life of the postmaster.
func (s *Server) await(ctx context.Context) error {
	for {
		err := s.probe(ctx)
		if err == nil {
			return nil
		}
		// The server is there and said no, other than "not yet": waiting will not change its mind.
		var refusal *pgconn.PgError
		if errors.As(err, &refusal) && refusal.Code != cannotConnectNow {
			return fmt.Errorf("PostgreSQL in %s refuses: %w", s.dir, err)
		}
		select {
		case <-s.done:
			return fmt.Errorf("PostgreSQL ended while starting (%v). Its log %s ends:\n%s",
				s.exit, s.logPath(), logTail(s.logPath()))
		case <-ctx.Done():
			return fmt.Errorf("waiting for PostgreSQL in %s: %w", s.dir, ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// SQLSTATE codes that mean "still recovering", "no such database" and "database exists".
const (
	cannotConnectNow  = "57P03"
	noSuchDatabase    = "3D000"
	duplicateDatabase = "42P04"
)

// probe connects once, and makes the database when the server has none yet.
func (s *Server) probe(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, s.URL(Superuser))
	if err == nil {
		return conn.Close(ctx)
	}
	var refusal *pgconn.PgError
	if !errors.As(err, &refusal) || refusal.Code != noSuchDatabase {
		return err
	}
	if conn, err = pgx.Connect(ctx, s.url(Superuser, "postgres")); err != nil {
		return err
	}
	defer conn.Close(ctx)
	_, err = conn.Exec(ctx, "CREATE DATABASE "+Database)
	if errors.As(err, &refusal) && refusal.Code == duplicateDatabase {
		return nil
	}
	return err
}

// URL is the address of the database for one of its roles, as pgx understands it. There is no password:
// whoever may enter the socket's folder may connect, and that is this process alone.
func (s *Server) URL(user string) string { return s.url(user, Database) }

func (s *Server) url(user, database string) string {
	// The port is said because PGPORT in our own environment would otherwise choose it.
	where := url.Values{"host": {s.sockets}, "port": {"5432"}}
	u := url.URL{Scheme: "postgres", User: url.User(user), Path: "/" + database, RawQuery: where.Encode()}
	return u.String()
}

// Done is closed when PostgreSQL has ended, by Stop or by itself.
func (s *Server) Done() <-chan struct{} { return s.done }

// PID is the process id of the postmaster.
func (s *Server) PID() int { return s.pid }

// Stop ends the server and gives the data folder free. Close every connection first: Stop cuts those that
// remain. It may be called more than once; later calls return what the first one did.
func (s *Server) Stop() error {
	s.stop.Do(func() {
		s.stopErr = s.end()
		s.release()
	})
	return s.stopErr
}

func (s *Server) end() error {
	select {
	case <-s.done:
		if s.exit != nil {
			return fmt.Errorf("PostgreSQL had already ended: %w", s.exit)
		}
		return nil
	default:
	}
	// Only while it is not waited for is the id surely still this process: done says when it is.
	for _, step := range []struct {
		signal syscall.Signal
		limit  time.Duration
	}{{syscall.SIGINT, fastShutdown}, {syscall.SIGQUIT, immediateShutdown}} {
		if err := syscall.Kill(s.pid, step.signal); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("stop PostgreSQL: %w", err)
		}
		select {
		case <-s.done:
			if s.exit != nil {
				return fmt.Errorf("PostgreSQL stopped: %w", s.exit)
			}
			return nil
		case <-time.After(step.limit):
		}
	}
	return fmt.Errorf("PostgreSQL (process %d) did not stop within %s", s.pid, fastShutdown+immediateShutdown)
}

// release gives up the folder: the temporary socket folder, if there was one, then the lock.
func (s *Server) release() {
	if s.sockets != s.box {
		_ = os.RemoveAll(s.sockets) // only a socket is in it; what stays behind is cleared by the next start
	}
	_ = s.lock.Close()
}
