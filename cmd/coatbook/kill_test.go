package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// A program is the real server as a process of its own on a data folder.
type program struct {
	t       testing.TB
	binary  string
	data    string
	address string
	process *exec.Cmd
	said    string // file that holds what it printed
	cookies []*http.Cookie
}

// newProgram builds the server. Its data folder is on the disk, where the user PostgreSQL runs as may enter.
func newProgram(t testing.TB) *program {
	t.Helper()
	folder, err := os.MkdirTemp("/var/tmp", "coatbook-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o711); err != nil {
		t.Fatal(err)
	}
	p := &program{t: t, binary: filepath.Join(folder, "coatbook"), data: filepath.Join(folder, "data"), said: filepath.Join(folder, "said"), address: freeAddress(t)}
	if out, err := exec.Command("go", "build", "-o", p.binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return p
}

// start runs the command, serve or demo, until the server is ready.
func (p *program) start(command string) {
	p.t.Helper()
	said, err := os.Create(p.said)
	if err != nil {
		p.t.Fatal(err)
	}
	defer said.Close() // the child has its own copy
	p.process = exec.Command(p.binary, command, "--data", p.data, "--listen", p.address)
	p.process.Env = append(os.Environ(), "DATABASE_URL=")
	p.process.Stdout, p.process.Stderr = said, os.Stderr
	if err := p.process.Start(); err != nil {
		p.t.Fatal(err)
	}
	deadline := time.Now().Add(3 * time.Minute)
	for time.Now().Before(deadline) {
		if r, err := http.Get("http://" + p.address + "/healthz/ready"); err == nil {
			r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(10 * time.Millisecond)
	}
	p.t.Fatal("the server was not ready within three minutes")
}

// stop ends the server in order.
func (p *program) stop() {
	_ = p.process.Process.Signal(syscall.SIGTERM)
	_ = p.process.Wait()
}

// killPostgres kills the private PostgreSQL of the data folder by the number in its own file.
func (p *program) killPostgres() {
	p.t.Helper()
	body, err := os.ReadFile(filepath.Join(p.data, "box", "pg", "postmaster.pid"))
	if err != nil {
		p.t.Fatal(err)
	}
	var pid int
	if _, err := fmt.Sscan(string(body), &pid); err != nil || pid <= 1 {
		p.t.Fatalf("postmaster.pid says %q", body)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		p.t.Fatal(err)
	}
}

func (p *program) post(ctx context.Context, path string, form url.Values) (*http.Response, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+p.address+path, strings.NewReader(form.Encode()))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for _, c := range p.cookies {
		r.AddCookie(c)
	}
	answer, err := http.DefaultTransport.RoundTrip(r)
	if err == nil {
		_, _ = io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
	}
	return answer, err
}

// get returns a page.
func (p *program) get(path string) string {
	p.t.Helper()
	var body strings.Builder
	p.read(path, &body)
	return body.String()
}

// read copies a page or a file to w.
func (p *program) read(path string, w io.Writer) {
	p.t.Helper()
	r, err := http.NewRequestWithContext(p.t.Context(), http.MethodGet, "http://"+p.address+path, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	for _, c := range p.cookies {
		r.AddCookie(c)
	}
	answer, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer answer.Body.Close()
	if _, err := io.Copy(w, answer.Body); err != nil || answer.StatusCode != http.StatusOK {
		p.t.Fatalf("%s: %s %v", path, answer.Status, err)
	}
}

// TestKilledUnderLoadKeepsEveryAcknowledgedSave kills the server, PostgreSQL and both with signal 9 while four clients save,
// starts again on the same folder, and looks for every save that was acknowledged.
func TestKilledUnderLoadKeepsEveryAcknowledgedSave(t *testing.T) {
	p := newProgram(t)
	setup := exec.Command(p.binary, "setup", "--data", p.data, "--site", "TH", "--name", "Tern Hollow Metalworks", "--zone", "America/Chicago", "--admin", "Petra Lindqvist", "--sign-on", "petra")
	setup.Env = append(os.Environ(), "DATABASE_URL=")
	out, err := setup.CombinedOutput()
	if err != nil {
		t.Fatalf("setup: %v\n%s", err, out)
	}
	link := regexp.MustCompile(`/invite/\S+`).FindString(string(out))
	p.start("serve")
	t.Cleanup(p.stop)
	answer, err := p.post(t.Context(), link, url.Values{"pin": {"594713"}, "pin_again": {"594713"}})
	if err != nil || answer.StatusCode != http.StatusSeeOther {
		t.Fatalf("accepting the invitation: %v %v", answer, err)
	}
	p.cookies = answer.Cookies()
	var mu sync.Mutex
	acknowledged := map[string]bool{}
	for round, kill := range []string{"server", "PostgreSQL", "both"} {
		ctx, stop := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		for worker := range 4 {
			wg.Go(func() {
				for i := 0; ctx.Err() == nil; i++ {
					code := fmt.Sprintf("S%d-%d-%d", round, worker, i)
					answer, err := p.post(ctx, "/setup/stations", url.Values{"code": {code}, "name": {"Station " + code}, "kind": {"final"}})
					if err == nil && answer.StatusCode == http.StatusSeeOther && !strings.HasPrefix(answer.Header.Get("Location"), "/signon") {
						mu.Lock()
						acknowledged[code] = true
						mu.Unlock()
					}
				}
			})
		}
		time.Sleep(700 * time.Millisecond)
		if kill != "server" {
			p.killPostgres()
		}
		if kill != "PostgreSQL" {
			_ = p.process.Process.Kill()
			_ = p.process.Wait()
		}
		time.Sleep(200 * time.Millisecond)
		stop()
		wg.Wait()
		if kill == "PostgreSQL" {
			p.stop()
		}
		p.start("serve")
		p.checkAll(acknowledged, kill)
	}
	if len(acknowledged) < 20 {
		t.Errorf("only %d saves were acknowledged; the test proves little", len(acknowledged))
	}
}

// checkAll reads the list of stations and looks for each acknowledged one exactly once.
func (p *program) checkAll(acknowledged map[string]bool, kill string) {
	p.t.Helper()
	body := p.get("/setup/stations")
	for code := range acknowledged {
		if n := strings.Count(body, `"/setup/stations/`+code+`"`); n != 1 {
			p.t.Errorf("after killing %s: acknowledged %s is there %d times", kill, code, n)
		}
	}
}
