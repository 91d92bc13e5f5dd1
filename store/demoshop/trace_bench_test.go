package demoshop

import (
	"flag"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/store/localpg"
)

var (
	partsOfTrace = flag.Int("parts", 20_000, "parts in the book that BenchmarkTrace fills; twenty readings go with each")
	keepBook     = flag.String("keep", "", "data folder where BenchmarkTrace keeps its book and finds it the next time")
)

// tracesTimed is how often each trace is run after the first time; the middle one counts.
const tracesTimed = 9

// BenchmarkTrace traces from every kind of thing in a book of many parts, and back from a part, and does a mock recall. Things
// that are in use for years are traced over the time a person would ask about: a shift, a day, a week. The server is started
// anew after the book is filled, so that the first run of each finds nothing in PostgreSQL's own memory. An answer of very many
// parts takes its time whatever it was asked from: each part's job, papers and standing are looked up.
func BenchmarkTrace(b *testing.B) {
	ctx := b.Context()
	book := openBook(b, *partsOfTrace)
	day, week := 24*time.Hour, 7*24*time.Hour
	var slowest time.Duration
	for _, from := range []struct {
		name string
		store.TraceFrom
	}{
		{"lot", store.TraceFrom{Kind: "lot", Name: bulkLot("powder", book.parts/2)}},
		{"lot_of_filler_over_a_day", book.within("lot", bulkLot("filler", book.parts/2), day)},
		{"lot_of_chemical_over_a_day", book.within("lot", bulkLot("conversion", book.parts/2), day)},
		{"bath_over_a_shift", book.within("bath", "B3", 8*time.Hour)},
		{"booth_over_a_day", book.within("booth", "BOOTH-1", day)},
		{"oven_over_a_day", book.within("oven", "OVEN-1", day)},
		{"load", store.TraceFrom{Kind: "load", Name: "BULK-L-100"}},
		{"rack", store.TraceFrom{Kind: "rack", Name: "BULK-R-100"}},
		{"panel", store.TraceFrom{Kind: "panel", Name: "BULK-P-104"}},
		{"gauge_over_a_day", book.within("gauge", "EC-07", day)},
		{"welder_over_a_day", book.within("welder", "Ruben Aske", day)},
		{"person_over_a_day", book.within("person", "Amara Diallo", day)},
		{"station_over_a_day", book.within("station", "FINAL-1", day)},
		{"part_number_over_a_week", book.within("part_number", "RF-210", week)},
		{"spec_over_a_day", book.within("spec", "PC-60 rev A", day)},
		{"spec_over_a_week", book.within("spec", "PC-60 rev A", week)},
	} {
		slowest = max(slowest, timed(b, from.name, func() (int, error) {
			parts, err := book.db.Trace(ctx, book.site, from.TraceFrom)
			return len(parts), err
		}))
	}
	b.Run("slowest_kind", func(b *testing.B) {
		for b.Loop() {
		}
		b.ReportMetric(float64(book.parts), "parts")
		b.ReportMetric(ms(slowest), "ms")
		b.ReportMetric(0, "ns/op")
	})
	timed(b, "way_back", func() (int, error) {
		part, err := book.db.PartBySerial(ctx, book.site, "BULK-500")
		if err != nil {
			return 0, err
		}
		story, err := book.db.Story(ctx, book.site, part.ID)
		if err != nil {
			return 0, err
		}
		var records []uuid.UUID
		for _, l := range story {
			if l.RecordID.Valid {
				records = append(records, l.RecordID.UUID)
			}
		}
		uses, err := book.db.UsesOf(ctx, book.site, records)
		return len(uses), err
	})
	timed(b, "mock_recall", func() (int, error) {
		recall, err := book.db.MockRecall(ctx, store.Actor{Site: book.site, Person: book.supervisor}, store.TraceFrom{Kind: "lot", Name: bulkLot("powder", book.parts/2)})
		return len(recall.Parts), err
	})
}

// timed runs one question once and then often, reports both times and how much was found, and returns the middle one of the
// later times.
func timed(b *testing.B, name string, ask func() (found int, err error)) (middle time.Duration) {
	b.Run(name, func(b *testing.B) {
		for b.Loop() {
			var times []time.Duration
			var found int
			for range 1 + tracesTimed {
				start := time.Now()
				var err error
				if found, err = ask(); err != nil {
					b.Fatal(err)
				}
				times = append(times, time.Since(start))
			}
			if found == 0 {
				b.Fatal("found nothing")
			}
			first := times[0]
			slices.Sort(times[1:])
			middle = times[1+tracesTimed/2]
			b.ReportMetric(float64(found), "found")
			b.ReportMetric(ms(first), "first_ms")
			b.ReportMetric(ms(middle), "ms")
			b.ReportMetric(0, "ns/op")
		}
	})
	return middle
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// A book is a site with so many parts, and the day in the middle of it that traces ask about.
type book struct {
	db         *store.DB
	site       uuid.UUID
	supervisor uuid.UUID
	parts      int
	middle     time.Time
}

// within traces from a thing in use from the start of the book's middle day.
func (bk book) within(kind, name string, long time.Duration) store.TraceFrom {
	return store.TraceFrom{Kind: kind, Name: name, From: bk.middle, To: bk.middle.Add(long)}
}

// openBook fills a book of so many parts, or takes the one that was kept, and opens it on a server that has just started.
func openBook(b *testing.B, parts int) book {
	b.Helper()
	if parts < 6000 {
		b.Fatalf("%d parts are too few to have a week in the middle: at least 6000", parts)
	}
	parts = (parts + bulkPerDay - 1) / bulkPerDay * bulkPerDay // whole days
	ctx, dir := b.Context(), *keepBook
	if dir == "" {
		// Not the folder for temporary files, which may be memory; and open to the user PostgreSQL runs as.
		var err error
		if dir, err = os.MkdirTemp("/var/tmp", "coatbook-bench-"); err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { os.RemoveAll(dir) })
		if err := os.Chmod(dir, 0o711); err != nil {
			b.Fatal(err)
		}
	}
	server, err := localpg.Start(ctx, dir, localpg.Options{})
	if err != nil {
		b.Fatal(err)
	}
	err = fillOnce(ctx, server.URL(localpg.Superuser), parts)
	if stopErr := server.Stop(); err == nil {
		err = stopErr
	}
	if err != nil {
		b.Fatal(err)
	}
	if server, err = localpg.Start(ctx, dir, localpg.Options{}); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := server.Stop(); err != nil {
			b.Error(err)
		}
	})
	bk := book{parts: parts, middle: bulkStart.AddDate(0, 0, parts/bulkPerDay/2)}
	if bk.db, err = store.Open(ctx, server.URL(localpg.Superuser)); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(bk.db.Close)
	sites, err := bk.db.Sites(ctx)
	if err != nil {
		b.Fatal(err)
	}
	bk.site = sites[0].ID
	people, err := bk.db.People(ctx, bk.site)
	if err != nil {
		b.Fatal(err)
	}
	for _, p := range people {
		if p.SignOnName == "marek" {
			bk.supervisor = p.ID
		}
	}
	return bk
}
