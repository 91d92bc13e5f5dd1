package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/store/loggerfile"
)

// MaxLoggerFile is how large a logger's file may be, in bytes: a day of twelve channels every second is under half of it.
const MaxLoggerFile = 20 << 20

const (
	loggerPartBytes = 1 << 20
	// unusedFiles is how many files of a day may lie there without having become a profile.
	unusedFiles = 40
)

// A LoggerFile is a file as a data logger wrote it. Its bytes are kept as they came.
type LoggerFile struct {
	ID         uuid.UUID     `db:"file_id"`
	SHA256     []byte        `db:"sha256"`
	Size       int64         `db:"size_bytes"`
	Name       string        `db:"name"`
	LoggerID   uuid.NullUUID `db:"logger_id"`
	Logger     string        `db:"logger"` // code of the logger, empty if none was named
	ReceivedBy string        `db:"received_by"`
	ReceivedAt time.Time     `db:"received_at"`
}

// Hash is the file's SHA-256 in hexadecimal digits.
func (f LoggerFile) Hash() string { return hex.EncodeToString(f.SHA256) }

const loggerFileSQL = `SELECT f.file_id, f.sha256, f.size_bytes, f.name, f.logger_id, coalesce(i.code, '') AS logger, p.name AS received_by, f.received_at
	FROM logger_file f JOIN person p ON p.site_id = f.site_id AND p.person_id = f.received_by
	LEFT JOIN instrument i ON i.site_id = f.site_id AND i.instrument_id = f.logger_id WHERE f.site_id = @site`

// LoggerFileByID returns a file without its bytes.
func (db *DB) LoggerFileByID(ctx context.Context, site, id uuid.UUID) (LoggerFile, error) {
	return one[LoggerFile](ctx, db.pool, loggerFileSQL+` AND f.file_id = @id`, sqlArgs{"site": site, "id": id})
}

// A TakenStretch is a stretch of a file that is the profile of a load.
type TakenStretch struct {
	RecordID uuid.UUID `db:"record_id"`
	Load     string    `db:"load"`
	FromS    float64   `db:"from_s"`
	ToS      float64   `db:"to_s"`
	Layout   []byte    `db:"layout"`
}

// counts is true for a record that is neither corrected nor void.
const counts = `r.verdict <> 'void' AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`

// TakenStretches returns the stretches of a file that are on record, in their order. A profile whose record was voided or
// corrected has given its stretch back.
func (db *DB) TakenStretches(ctx context.Context, site, file uuid.UUID) ([]TakenStretch, error) {
	return takenStretches(ctx, db.pool, site, file)
}

func takenStretches(ctx context.Context, q querier, site, file uuid.UUID) ([]TakenStretch, error) {
	return list[TakenStretch](ctx, q, `SELECT c.record_id, o.number AS load, c.from_s, c.to_s, c.layout
		FROM cure_profile c JOIN record r ON r.site_id = c.site_id AND r.record_id = c.record_id
		JOIN oven_load o ON o.site_id = r.site_id AND o.load_id = r.load_id
		WHERE c.site_id = @site AND c.file_id = @file AND `+counts+` ORDER BY c.from_s`, sqlArgs{"site": site, "file": file})
}

// overlapping returns the stretch that is taken and shares time with another one, or nil.
func overlapping(taken []TakenStretch, fromS, toS float64) *TakenStretch {
	for i, t := range taken {
		if fromS < t.ToS && toS > t.FromS {
			return &taken[i]
		}
	}
	return nil
}

// ReceiveLoggerFile keeps a file as it came, before anything is read off it. The same bytes again are the same file: it is
// returned as long as a load in it has no record yet, and refused when all have. A file that is no table of samples is
// refused with line and reason, and nothing of it is kept.
func (db *DB) ReceiveLoggerFile(ctx context.Context, a Actor, name string, body []byte, logger uuid.NullUUID) (LoggerFile, error) {
	if len(body) > MaxLoggerFile {
		return LoggerFile{}, refuse(RuleLoggerFile, fmt.Sprintf("The file has more than %d MB. Export the run of one day.", MaxLoggerFile>>20))
	}
	if _, err := loggerfile.Inspect(bytes.NewReader(body)); err != nil {
		return LoggerFile{}, asFileRefusal(err)
	}
	hash := sha256.Sum256(body)
	known, err := one[LoggerFile](ctx, db.pool, loggerFileSQL+` AND f.sha256 = @hash`, sqlArgs{"site": a.Site, "hash": hash[:]})
	if err == nil {
		return known, db.stillFree(ctx, a.Site, known, body)
	}
	if !errors.Is(err, ErrNotFound) {
		return LoggerFile{}, err
	}
	id := NewID()
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		waiting, err := value[int](ctx, tx, `SELECT count(*)::int FROM logger_file f WHERE f.site_id = @site AND f.received_at > @since
			AND NOT EXISTS (SELECT 1 FROM cure_profile c WHERE c.site_id = f.site_id AND c.file_id = f.file_id)`,
			sqlArgs{"site": a.Site, "since": db.Clock().Add(-24 * time.Hour)})
		if err != nil {
			return err
		}
		if waiting >= unusedFiles {
			return refuse(RuleLoggerFile, fmt.Sprintf("%d logger files of the last day have not become a cure run yet. Use one of them first.", waiting))
		}
		if err := run(ctx, tx, `INSERT INTO logger_file (site_id, file_id, sha256, size_bytes, name, logger_id, received_by, received_at)
			VALUES (@site, @id, @hash, @size, @name, @logger, @by, @at)`, sqlArgs{"site": a.Site, "id": id, "hash": hash[:], "size": len(body),
			"name": fileName(name), "logger": logger, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		b := &pgx.Batch{}
		for part := 0; part*loggerPartBytes < len(body); part++ {
			b.Queue(`INSERT INTO logger_file_part (site_id, file_id, part, bytes) VALUES (@site, @id, @part, @bytes)`, sqlArgs{"site": a.Site, "id": id,
				"part": part + 1, "bytes": body[part*loggerPartBytes : min((part+1)*loggerPartBytes, len(body))]})
		}
		if err := send(ctx, tx, b); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "logger file received", SubjectKind: "logger file", Subject: id,
			After: map[string]any{"sha256": hex.EncodeToString(hash[:]), "bytes": len(body), "name": fileName(name)}})
	})
	if err != nil {
		return LoggerFile{}, err
	}
	return db.LoggerFileByID(ctx, a.Site, id)
}

// stillFree refuses a file that came before when every load in it has its record.
func (db *DB) stillFree(ctx context.Context, site uuid.UUID, f LoggerFile, body []byte) error {
	taken, err := db.TakenStretches(ctx, site, f.ID)
	if err != nil || len(taken) == 0 {
		return err
	}
	var layout loggerfile.Layout
	if err := json.Unmarshal(taken[len(taken)-1].Layout, &layout); err != nil {
		return fmt.Errorf("layout of the profile of load %s: %w", taken[len(taken)-1].Load, err)
	}
	seen, err := loggerfile.Look(bytes.NewReader(body), layout)
	if err != nil {
		return fmt.Errorf("logger file %s, which was read before: %w", f.ID, err)
	}
	for _, s := range seen.Segments {
		if overlapping(taken, s.FromS, s.ToS) == nil {
			return nil
		}
	}
	var loads []string
	for _, t := range taken {
		loads = append(loads, t.Load)
	}
	return refuse(RuleUsedBefore, fmt.Sprintf("This file was imported before, as the profile of load %s. Each run of a logger counts once: choose the file of this load's run.", strings.Join(loads, ", ")))
}

// asFileRefusal turns what loggerfile says of a file into a refusal; other errors pass through.
func asFileRefusal(err error) error {
	var wrong *loggerfile.Error
	if errors.As(err, &wrong) {
		return refuse(RuleLoggerFile, wrong.Error())
	}
	return err
}

// fileName is what a file was called, without its folders and without what cannot be printed.
func fileName(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	name = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar || strings.ContainsRune(`"<>:|?*`, r) {
			return -1
		}
		return r
	}, name)
	if runes := []rune(name); len(runes) > 120 {
		name = string(runes[:120])
	}
	if name = strings.Trim(name, ". "); name == "" {
		return "logger file"
	}
	return name
}

// LoggerFileBytes returns a reader of a file's bytes as they came. It keeps one part of the file in memory.
func (db *DB) LoggerFileBytes(ctx context.Context, site, id uuid.UUID) io.Reader {
	return &partReader{ctx: ctx, q: db.pool, site: site, file: id}
}

type partReader struct {
	ctx        context.Context
	q          querier
	site, file uuid.UUID
	part       int
	rest       []byte
}

func (p *partReader) Read(into []byte) (int, error) {
	if len(p.rest) == 0 {
		p.part++
		part, err := value[[]byte](p.ctx, p.q, `SELECT bytes FROM logger_file_part WHERE site_id = @site AND file_id = @file AND part = @part`,
			sqlArgs{"site": p.site, "file": p.file, "part": p.part})
		switch {
		case errors.Is(err, ErrNotFound) && p.part > 1:
			return 0, io.EOF
		case err != nil:
			return 0, fmt.Errorf("part %d of logger file %s: %w", p.part, p.file, err)
		}
		p.rest = part
	}
	n := copy(into, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

// LastLayout returns the layout in which a logger's last file was read, with the places of its channels; ErrNotFound for a
// logger that has none yet.
func (db *DB) LastLayout(ctx context.Context, site, logger uuid.UUID) (loggerfile.Layout, error) {
	raw, err := value[[]byte](ctx, db.pool, `SELECT c.layout FROM cure_profile c JOIN logger_file f ON f.site_id = c.site_id AND f.file_id = c.file_id
		JOIN record r ON r.site_id = c.site_id AND r.record_id = c.record_id
		WHERE c.site_id = @site AND f.logger_id = @logger ORDER BY r.recorded_at DESC LIMIT 1`, sqlArgs{"site": site, "logger": logger})
	if err != nil {
		return loggerfile.Layout{}, err
	}
	var l loggerfile.Layout
	if err := json.Unmarshal(raw, &l); err != nil {
		return l, fmt.Errorf("layout of logger %s: %w", logger, err)
	}
	return l, nil
}
