package main

import (
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	appImage = "coatbook:local"
	project  = "coatbook-check" // of its own, so that its volume is nobody's records
)

// dockerTools are what it takes to make images from the system's packages alone.
var dockerTools = []need{
	{what: "Docker", find: onPath("docker"), apt: "docker.io", byHand: "install Docker"},
	{what: "debootstrap", find: onPath("debootstrap"), apt: "debootstrap", byHand: "install debootstrap"},
	{what: "docker-compose", find: findCompose, apt: "docker-compose", byHand: "install Docker's compose plugin"},
}

func onPath(program string) func() error {
	return func() error { _, err := exec.LookPath(program); return err }
}

// findCompose accepts the plugin as well as the older program.
func findCompose() error {
	if exec.Command("docker", "compose", "version").Run() == nil {
		return nil
	}
	_, err := exec.LookPath("docker-compose")
	return err
}

// docker makes both images here, without any registry, brings docker-compose.yml up with them, waits until Coatbook
// answers, and does the whole job in it with a browser. It needs Debian or a relative, and root.
func docker(args []string) (err error) {
	keep, port := false, 8080
	err = flags("docker", args, func(set *flag.FlagSet) {
		set.BoolVar(&keep, "keep", false, "leave it running")
		set.IntVar(&port, "port", port, "the port on 127.0.0.1")
	})
	if err != nil {
		return err
	}
	if err := ensure(append(dockerTools, chromium)...); err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	daemon, err := startDocker(ctx)
	if err != nil {
		return err
	}
	if daemon != nil {
		defer func() {
			if keep && err == nil {
				fmt.Printf("dockerd runs as process %d; stop it with kill %[1]d\n", daemon.Process.Pid)
				return
			}
			err = errors.Join(err, stopDocker(daemon))
		}()
	}
	var dbImage string
	err = inOrder([]step{
		{"PostgreSQL image", func() (err error) { dbImage, err = databaseImage(); return err }},
		{"application image", makeAppImage},
	})
	if err != nil {
		return err
	}
	return bringUp(ctx, dbImage, port, keep)
}

// startDocker starts a daemon when none answers, and returns it when it did.
func startDocker(ctx context.Context) (*exec.Cmd, error) {
	answers := func() bool { return exec.Command("docker", "info").Run() == nil }
	if answers() {
		return nil, nil
	}
	if os.Geteuid() != 0 {
		return nil, errors.New("the Docker daemon does not answer, and only root may start it")
	}
	log, err := os.Create(filepath.Join(os.TempDir(), "coatbook-dockerd.log"))
	if err != nil {
		return nil, err
	}
	defer log.Close()
	daemon := exec.Command("dockerd")
	daemon.Stdout, daemon.Stderr = log, log
	daemon.SysProcAttr = &syscall.SysProcAttr{Setsid: true} // --keep outlives this terminal
	if err := daemon.Start(); err != nil {
		return nil, err
	}
	for range 60 {
		if answers() {
			return daemon, nil
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(ctx.Err(), stopDocker(daemon))
		case <-time.After(500 * time.Millisecond):
		}
	}
	return nil, errors.Join(fmt.Errorf("dockerd does not answer within 30 s; see %s", log.Name()), stopDocker(daemon))
}

// stopDocker ends the daemon that startDocker started.
func stopDocker(daemon *exec.Cmd) error {
	if err := daemon.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	_ = daemon.Wait() // its exit code after a signal says nothing
	return nil
}

// makeAppImage builds the static program and an image that holds nothing else.
func makeAppImage() error {
	dir, err := os.MkdirTemp("", "coatbook-app-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Mkdir(filepath.Join(dir, "seals"), 0o755); err != nil { // an empty folder for the image
		return err
	}
	build := exec.Command("go", "build", "-tags", "timetzdata", "-trimpath", "-ldflags=-s -w",
		"-o", filepath.Join(dir, "coatbook"), "./cmd/coatbook")
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux")
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build: %w\n%s", err, out)
	}
	return quiet("docker", "build", "--target", "local", "-f", "cmd/coatbook/Dockerfile", "-t", appImage, dir)
}

// bringUp runs docker-compose.yml, waits until Coatbook is healthy in Docker's eyes and ours, and takes it down
// again unless it is to be kept.
func bringUp(ctx context.Context, dbImage string, port int, keep bool) (err error) {
	password := os.Getenv("POSTGRES_PASSWORD")
	if password == "" {
		password = rand.Text()
	}
	dbPort, published, err := publishDatabase()
	if err != nil {
		return err
	}
	defer os.Remove(published)
	compose := func(args ...string) *exec.Cmd {
		words := []string{"docker", "compose"}
		if exec.Command("docker", "compose", "version").Run() != nil {
			words = []string{"docker-compose"}
		}
		words = append(append(words, "-f", "docker-compose.yml", "-f", published), args...)
		cmd := exec.Command(words[0], words[1:]...)
		cmd.Env = append(os.Environ(), "COMPOSE_PROJECT_NAME="+project, "COATBOOK_DB_IMAGE="+dbImage,
			"COATBOOK_IMAGE="+appImage, "COATBOOK_PORT="+strconv.Itoa(port), "POSTGRES_PASSWORD="+password)
		return cmd
	}
	down := func() error { return shown(compose("down", "--volumes", "--timeout", "60")) }
	if err := down(); err != nil { // what an interrupted run left, with a password nobody knows any more
		return err
	}
	defer func() {
		if err == nil && keep {
			fmt.Printf("running on http://127.0.0.1:%d; database password %s\n", port, password)
			fmt.Printf("take it down (or with docker compose): POSTGRES_PASSWORD=- docker-compose -p %s down --volumes\n", project)
			return
		}
		if err != nil {
			_ = shown(compose("logs", "--tail=40")) // for the reader; err is what failed
		}
		err = errors.Join(err, down())
	}()
	return inOrder([]step{
		{"compose up", func() error { return shown(compose("up", "-d", "--no-build")) }},
		{"healthy", func() error { return awaitHealthy(ctx, compose) }},
		{"answers", func() error { return ready(ctx, port) }},
		{"whole job", func() error {
			job := exec.Command("go", "test", "./web", "-count=1", "-run", "^TestWholeJobFromHangtagToRelease$")
			book := url.URL{Scheme: "postgres", User: url.UserPassword("coatbook", password), Host: fmt.Sprintf("127.0.0.1:%d", dbPort), Path: "coatbook", RawQuery: "sslmode=disable"}
			job.Env = append(os.Environ(), fmt.Sprintf("COATBOOK_TRY_URL=http://127.0.0.1:%d", port), "COATBOOK_TRY_DATABASE="+book.String())
			return shown(job)
		}},
		{"seal keys kept", func() error { return shown(compose("exec", "-T", "app", "/coatbook", "seal")) }},
	})
}

// publishDatabase writes what compose is to add to docker-compose.yml for the check: a port of the database on
// loopback, where the test looks into it.
func publishDatabase() (port int, file string, err error) {
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, "", err
	}
	port = free.Addr().(*net.TCPAddr).Port
	if err := free.Close(); err != nil {
		return 0, "", err
	}
	f, err := os.CreateTemp("", "coatbook-compose-*.yml")
	if err != nil {
		return 0, "", err
	}
	_, err = fmt.Fprintf(f, "services:\n  db:\n    ports:\n      - \"127.0.0.1:%d:5432\"\n", port)
	return port, f.Name(), errors.Join(err, f.Close())
}

func shown(cmd *exec.Cmd) error {
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	return cmd.Run()
}

// awaitHealthy waits until Docker's own check of the application passes.
func awaitHealthy(ctx context.Context, compose func(...string) *exec.Cmd) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	last := "no container"
	for {
		id, err := compose("ps", "-q", "app").Output()
		if err == nil && len(id) > 0 {
			out, _ := exec.Command("docker", "inspect", "-f", "{{.State.Health.Status}}", strings.TrimSpace(string(id))).Output()
			if last = strings.TrimSpace(string(out)); last == "healthy" {
				return nil
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the application is not healthy: %s", last)
		case <-time.After(time.Second):
		}
	}
}

// ready asks the published port once.
func ready(ctx context.Context, port int) error {
	address := fmt.Sprintf("http://127.0.0.1:%d/healthz/ready", port)
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return err
	}
	answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("%s answers %s", address, answer.Status)
	}
	return nil
}
