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
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/store"
	"coatbook/store/demoshop"
)

// BenchmarkDemoShop measures what people wait for: the real program on the demo shop, in a data folder of its own.
func BenchmarkDemoShop(b *testing.B) {
	p := newProgram(b)
	p.start("demo")
	b.Cleanup(func() { p.stop() })
	loaded := p.printed(`Loaded in (\S+)\.\s`)
	b.Run("load", func(b *testing.B) {
		took, err := time.ParseDuration(loaded)
		if err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
		}
		report(b, took.Seconds(), "load_s")
	})
	b.Run("start", func(b *testing.B) {
		var took []time.Duration
		for b.Loop() {
			for range 3 {
				p.printed(`(Ctrl-C)`)
				p.stop()
				start := time.Now()
				p.start("demo")
				took = append(took, time.Since(start))
			}
		}
		report(b, quantile(took, 0.5).Seconds(), "second_start_s")
	})
	watched := &lastQuery{}
	db, err := store.Open(b.Context(), p.database(), func(c *pgxpool.Config) { c.ConnConfig.Tracer = watched })
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	sites, err := db.Sites(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	p.signOn(db, sites[0], "marek")
	b.Run("day", func(b *testing.B) { benchDay(b, p, db, sites[0]) })
	b.Run("csv", func(b *testing.B) { benchExport(b, p, db, sites[0], watched) })
}

// report names the figure and leaves the time of the loop around it out.
func report(b *testing.B, value float64, unit string) {
	b.ReportMetric(value, unit)
	b.ReportMetric(0, "ns/op")
}

// quantile is the smallest of the durations that a share of them does not exceed.
func quantile(all []time.Duration, share float64) time.Duration {
	slices.Sort(all)
	return all[max(0, int(share*float64(len(all))+0.999999)-1)]
}

// benchDay asks for today and for the last whole shop day in turns, as one supervisor.
func benchDay(b *testing.B, p *program, db *store.DB, site store.Site) {
	today, _ := site.ShopDay(time.Now())
	before, err := db.LastShopDay(b.Context(), site.ID, today, false)
	if err != nil {
		b.Fatal(err)
	}
	pages := []string{"/day", "/day?date=" + before.Format(time.DateOnly)}
	for range 20 {
		for _, page := range pages {
			p.get(page)
		}
	}
	var took []time.Duration
	for b.Loop() {
		for i := range 400 {
			start := time.Now()
			p.get(pages[i%len(pages)])
			took = append(took, time.Since(start))
		}
	}
	b.ReportMetric(quantile(took, 0.5).Seconds()*1000, "p50_ms")
	report(b, quantile(took, 0.95).Seconds()*1000, "p95_ms")
}

// benchExport downloads all readings, and has psql copy the rows of the same query to a file, in turns.
func benchExport(b *testing.B, p *program, db *store.DB, site store.Site, watched *lastQuery) {
	today, _ := site.ShopDay(time.Now())
	filter := store.ExportFilter{From: today.AddDate(0, -2, 0), To: today}
	lines, err := db.Export(b.Context(), site, "readings.csv", filter, io.Discard)
	if err != nil {
		b.Fatal(err)
	}
	psql, err := watched.copyCommand(filepath.Join(filepath.Dir(p.data), "copy.csv"))
	if err != nil {
		b.Fatal(err)
	}
	file := "/exports/readings.csv?from=" + filter.From.Format(time.DateOnly) + "&to=" + filter.To.Format(time.DateOnly)
	if got := int64(strings.Count(p.get(file), "\r\n")) - 1; got != lines {
		b.Fatalf("the download has %d lines, want %d", got, lines)
	}
	p.copy(psql, lines)
	var ours, theirs time.Duration
	rounds := 0
	for b.Loop() {
		for range 6 {
			start := time.Now()
			p.read(file, io.Discard)
			ours += time.Since(start)
			theirs += p.copy(psql, lines)
			rounds++
		}
	}
	b.ReportMetric(float64(lines), "rows")
	b.ReportMetric(float64(rounds)*float64(lines)/ours.Seconds(), "rows/s")
	report(b, theirs.Seconds()/ours.Seconds(), "of_psql_copy")
}

// printed waits for the program to have printed something and returns the first group of the pattern.
func (p *program) printed(pattern string) string {
	p.t.Helper()
	re := regexp.MustCompile(pattern)
	for range 500 {
		said, err := os.ReadFile(p.said)
		if err != nil {
			p.t.Fatal(err)
		}
		if m := re.FindSubmatch(said); m != nil {
			return string(m[1])
		}
		time.Sleep(10 * time.Millisecond)
	}
	p.t.Fatalf("the program has not printed %s", pattern)
	return ""
}

// database is the address of the program's private PostgreSQL, for its owner.
func (p *program) database() string {
	return "postgres://coatbook@/coatbook?port=5432&host=" + url.QueryEscape(filepath.Join(p.data, "box"))
}

// signOn enrols a tablet with the link the program printed and signs a person on with their PIN.
func (p *program) signOn(db *store.DB, site store.Site, name string) {
	p.t.Helper()
	people, err := db.People(p.t.Context(), site.ID)
	if err != nil {
		p.t.Fatal(err)
	}
	who := people[slices.IndexFunc(people, func(p store.Person) bool { return p.SignOnName == name })]
	pin := demoshop.Logins[slices.IndexFunc(demoshop.Logins, func(l demoshop.Login) bool { return l.SignOnName == name })].PIN
	for _, step := range []struct {
		path string
		form url.Values
	}{
		{p.printed(`(/enrol/\S+)`), url.Values{"css_px_per_inch": {"132"}, "location_class": {"unclassified"}}},
		{"/signon/pin", url.Values{"person": {who.ID.String()}, "pin": {pin}}},
	} {
		answer, err := p.post(p.t.Context(), step.path, step.form)
		if err != nil || answer.StatusCode != http.StatusSeeOther {
			p.t.Fatalf("%s: %v %v", step.path, answer, err)
		}
		for _, c := range answer.Cookies() {
			p.cookies = append(slices.DeleteFunc(p.cookies, func(old *http.Cookie) bool { return old.Name == c.Name }), c)
		}
	}
}

// A lastQuery keeps the last statement that was sent through a pool.
type lastQuery struct {
	sql    string
	values []any
	err    error
}

// TraceQueryStart writes the statement down with its values in the order of their places.
func (q *lastQuery) TraceQueryStart(ctx context.Context, conn *pgx.Conn, d pgx.TraceQueryStartData) context.Context {
	q.sql, q.values = d.SQL, d.Args
	for i, a := range d.Args {
		if named, ok := a.(pgx.QueryRewriter); ok {
			q.sql, q.values, q.err = named.RewriteQuery(ctx, conn, d.SQL, d.Args[i+1:])
		}
	}
	return ctx
}

// TraceQueryEnd has nothing to add.
func (*lastQuery) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

// copyCommand is psql's command that copies the rows of the statement to a file as CSV.
func (q *lastQuery) copyCommand(file string) (string, error) {
	if q.err != nil {
		return "", q.err
	}
	sql := strings.Join(strings.Fields(q.sql), " ") // psql wants it on one line
	for i := len(q.values); i > 0; i-- {
		text := fmt.Sprint(q.values[i-1])
		if day, ok := q.values[i-1].(time.Time); ok {
			text = day.Format(time.DateOnly)
		}
		sql = strings.ReplaceAll(sql, "$"+strconv.Itoa(i), "'"+strings.ReplaceAll(text, "'", "''")+"'")
	}
	return `\copy (` + sql + `) TO '` + file + `' WITH (FORMAT csv, HEADER)`, nil
}

// copy has psql carry out the command and returns the time it says that took, without its own start.
func (p *program) copy(command string, lines int64) time.Duration {
	p.t.Helper()
	cmd := exec.Command("psql", "-X", "-d", p.database(), "-v", "ON_ERROR_STOP=1", "-c", `\timing on`, "-c", command)
	cmd.Env = append(os.Environ(), "PGCLIENTENCODING=UTF8", "PGOPTIONS=-c jit=off") // as the store connects
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), fmt.Sprintf("COPY %d\n", lines)) {
		p.t.Fatalf("psql: %v, want %d lines\n%s", err, lines, out)
	}
	took := regexp.MustCompile(`Time: ([0-9.]+) ms`).FindSubmatch(out)
	if took == nil {
		p.t.Fatalf("psql told no time\n%s", out)
	}
	ms, err := time.ParseDuration(string(took[1]) + "ms")
	if err != nil {
		p.t.Fatal(err)
	}
	return ms
}
