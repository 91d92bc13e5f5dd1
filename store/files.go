package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/store/photo"
)

const (
	// MaxFile is how large a picture or certificate may be, in bytes.
	MaxFile = photo.MaxBytes
	// MaxFiles is how many files may hang on one thing.
	MaxFiles = 12
)

// The things that a picture or certificate can belong to.
const (
	FileOfHold       = "hold"
	FileOfRecord     = "record"
	FileOfLot        = "lot"
	FileOfInstrument = "instrument"
	FileOfArticle    = "first_article"
	FileOfMaterial   = "material"
)

var fileColumns = map[string]string{FileOfHold: "hold_id", FileOfRecord: "record_id", FileOfLot: "lot_id", FileOfInstrument: "instrument_id", FileOfArticle: "article_id",
	FileOfMaterial: "material_id"}

// A FileOwner is the thing that a picture or certificate belongs to.
type FileOwner struct {
	Kind string // one of FileOfHold and those after it
	ID   uuid.UUID
	// Line is the number of the requirement that a file of a first article shows; FilesOf returns those of all lines.
	Line string
	// IssuedOn is the date that a safety data sheet, the file of a material, gives itself.
	IssuedOn *time.Time
}

// most is how many files the thing may have; a first article has many lines, a material a sheet for every few years.
func (o FileOwner) most() int {
	if o.Kind == FileOfArticle || o.Kind == FileOfMaterial {
		return 5 * MaxFiles
	}
	return MaxFiles
}

// A File is a picture or certificate without its bytes. Its id is its only name.
type File struct {
	ID      uuid.UUID `db:"file_id"`
	SHA256  []byte    `db:"sha256"`
	Kind    string    `db:"kind"` // jpeg or pdf
	Size    int64     `db:"size_bytes"`
	Width   *int      `db:"width"`
	Height  *int      `db:"height"`
	Caption string    `db:"caption"`
	Line    string    `db:"line"` // of a first article
	By      string    `db:"by"`
	At      time.Time `db:"added_at"`
}

const fileSQL = `SELECT f.file_id, f.sha256, f.kind, f.size_bytes, f.width, f.height, f.caption, f.line, p.name AS by, f.added_at
	FROM file f JOIN person p ON p.site_id = f.site_id AND p.person_id = f.added_by WHERE f.site_id = @site`

// FilesOf returns the files of a thing, the oldest first.
func (db *DB) FilesOf(ctx context.Context, site uuid.UUID, of FileOwner) ([]File, error) {
	return filesOf(ctx, db.pool, site, of)
}

func filesOf(ctx context.Context, q querier, site uuid.UUID, of FileOwner) ([]File, error) {
	column, ok := fileColumns[of.Kind]
	if !ok {
		return nil, fmt.Errorf("files of a %q: %w", of.Kind, ErrNotFound)
	}
	return list[File](ctx, q, fileSQL+` AND f.`+column+` = @of ORDER BY f.added_at, f.file_id`, sqlArgs{"site": site, "of": of.ID})
}

// AddFile keeps a picture or certificate of a thing. A picture is drawn anew first, which proves that it is one and drops where
// it was taken. The same file on the same thing again is the one that is there. The file of a material is its safety data sheet.
func (db *DB) AddFile(ctx context.Context, a Actor, of FileOwner, body []byte, caption string) (File, error) {
	take := photo.Take
	switch sheet := of.Kind == FileOfMaterial; {
	case sheet && !a.Has(Engineer, Administrator):
		return File{}, refuse(RuleNoRight, "Your role does not add safety data sheets. Ask an engineer.")
	case sheet:
		take = photo.TakeSheet
	case !a.Has(Inspector, Operator, Supervisor, Engineer):
		return File{}, refuse(RuleNoRight, "Your role does not add pictures.")
	}
	caption = strings.TrimSpace(caption)
	if len([]rune(caption)) > 200 {
		return File{}, refuse("file_caption_length", constraintSentences["file_caption_length"])
	}
	kept, err := take(body)
	var wrong *photo.Error
	if errors.As(err, &wrong) {
		return File{}, refuse(RuleFile, wrong.Sentence)
	}
	if err != nil {
		return File{}, fmt.Errorf("taking a picture: %w", err)
	}
	hash := sha256.Sum256(kept.Bytes)
	var file File
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		file, err = db.addFile(ctx, tx, a, of, kept, hash[:], caption)
		return err
	})
	return file, err
}

func (db *DB) addFile(ctx context.Context, tx querier, a Actor, of FileOwner, kept photo.Kept, hash []byte, caption string) (File, error) {
	// Uploads for one thing wait for each other, so that their count holds.
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended(@of::text, 0))`, sqlArgs{"of": of.ID.String()}); err != nil {
		return File{}, err
	}
	if of.Line != "" {
		known, err := value[bool](ctx, tx, `SELECT EXISTS (SELECT 1 FROM first_article fa JOIN record r ON r.site_id = fa.site_id AND r.part_id = fa.part_id AND r.cycle = fa.cycle AND r.kind = 'first_article'
			JOIN first_article_line l ON l.site_id = r.site_id AND l.record_id = r.record_id WHERE fa.site_id = @site AND fa.article_id = @of AND l.number = @line)`,
			sqlArgs{"site": a.Site, "of": of.ID, "line": of.Line})
		if err != nil {
			return File{}, err
		}
		if of.Kind != FileOfArticle || !known {
			return File{}, refuse("file_line_of_article", "This first article has no requirement of that number. Choose it from the list.")
		}
	}
	there, err := filesOf(ctx, tx, a.Site, of)
	if err != nil {
		return File{}, err
	}
	verb := "file added"
	if of.Kind == FileOfMaterial {
		verb = "safety data sheet added"
		if there, err = db.sheetsLike(ctx, tx, a, of, there); err != nil {
			return File{}, err
		}
	}
	for _, f := range there {
		if string(f.SHA256) == string(hash) && f.Line == of.Line {
			return f, nil
		}
	}
	if most := of.most(); len(there) >= most {
		return File{}, refuse(RuleFile, fmt.Sprintf("There are %d files here already, which is the most. Choose the ones that show it best next time.", most))
	}
	var width, height any
	if kept.Kind == "jpeg" {
		width, height = kept.Width, kept.Height
	}
	id := NewID()
	args := sqlArgs{"site": a.Site, "id": id, "hash": hash, "kind": kept.Kind, "size": len(kept.Bytes), "width": width, "height": height, "caption": caption,
		"line": of.Line, "issued": of.IssuedOn, "of": of.ID, "by": a.Person, "at": db.Clock()}
	if err := run(ctx, tx, `INSERT INTO file (site_id, file_id, sha256, kind, size_bytes, width, height, caption, line, issued_on, `+fileColumns[of.Kind]+`, added_by, added_at)
		VALUES (@site, @id, @hash, @kind, @size, @width, @height, @caption, @line, @issued::date, @of, @by, @at)`, args); err != nil {
		return File{}, err
	}
	if err := run(ctx, tx, `INSERT INTO file_content (site_id, file_id, bytes, thumbnail) VALUES (@site, @id, @bytes, @thumbnail)`,
		sqlArgs{"site": a.Site, "id": id, "bytes": kept.Bytes, "thumbnail": kept.Thumbnail}); err != nil {
		return File{}, err
	}
	record := uuid.Nil
	if of.Kind == FileOfRecord {
		record = of.ID
	}
	after := map[string]any{"file": id, "kind": kept.Kind, "bytes": len(kept.Bytes), "sha256": hex.EncodeToString(hash), "caption": caption, "line": of.Line}
	if of.IssuedOn != nil {
		after["issued_on"] = of.IssuedOn.Format(time.DateOnly)
	}
	if err := db.event(ctx, tx, a, Event{Verb: verb, SubjectKind: of.Kind, Subject: of.ID, Record: record, After: after}); err != nil {
		return File{}, err
	}
	return one[File](ctx, tx, fileSQL+` AND f.file_id = @id`, sqlArgs{"site": a.Site, "id": id})
}

// FileBytes returns a file with its bytes, or those of its small form; ErrNotFound for a certificate, which has none.
func (db *DB) FileBytes(ctx context.Context, site, id uuid.UUID, small bool) (File, []byte, error) {
	args := sqlArgs{"site": site, "id": id}
	f, err := one[File](ctx, db.pool, fileSQL+` AND f.file_id = @id`, args)
	if err != nil {
		return f, nil, fmt.Errorf("file %s: %w", id, err)
	}
	sql := `SELECT bytes FROM file_content WHERE site_id = @site AND file_id = @id`
	if small {
		sql = `SELECT thumbnail FROM file_content WHERE site_id = @site AND file_id = @id AND thumbnail IS NOT NULL`
	}
	body, err := value[[]byte](ctx, db.pool, sql, args)
	if err != nil {
		return f, nil, fmt.Errorf("bytes of file %s: %w", id, err)
	}
	return f, body, nil
}
