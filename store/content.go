package store

import (
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// What signatures and content hashes are taken of, in one place for those who write them and those who verify them. All of
// it can be made again from what is stored.

// contentHash is the hash of what was entered: empty lists count as none, so that it does not matter how they came.
func (e Entry) contentHash() (string, error) {
	check := quality.Check{Kind: e.Kind}
	if len(e.Check.Readings) > 0 {
		check.Readings = e.Check.Readings
	}
	if len(e.Check.Ratings) > 0 {
		check.Ratings = e.Check.Ratings
	}
	if len(e.Check.Defects) > 0 {
		check.Defects = e.Check.Defects
	}
	check.Article = e.Check.Article
	var uses []Use
	if len(e.Uses) > 0 {
		uses = e.Uses
	}
	return ContentHash(struct {
		Kind    quality.Kind
		Subject Subject
		Check   quality.Check
		Uses    []Use
		Note    string
		// Empty for a first entry, so that its hash is what it was before there were corrections.
		Correction *Correction `json:",omitempty"`
	}{e.Kind, e.Subject, check, uses, e.Note, e.correction})
}

func releaseContent(part uuid.UUID, cycle int, gate []quality.Item) any {
	return map[string]any{"part": part, "cycle": cycle, "gate": gate}
}

func dispositionContent(hold, part uuid.UUID, code, reason, concessionRef string, concessionEnds time.Time) any {
	ends := ""
	if !concessionEnds.IsZero() {
		ends = concessionEnds.Format(time.DateOnly)
	}
	return map[string]any{"hold": hold, "part": part, "code": code, "reason": reason, "concession_ref": concessionRef, "concession_ends": ends}
}

func overrideContent(record uuid.UUID, rule, sentence, reason string) any {
	return map[string]any{"record": record, "rule": rule, "sentence": sentence, "reason": reason}
}

func confirmationContent(record uuid.UUID, hash string, sentences []string, outcome, reason string) any {
	return map[string]any{"record": record, "content_hash": hash, "sentences": sentences, "outcome": outcome, "reason": reason}
}

func exclusionContent(record uuid.UUID, hash string, seq *int, code, reason string) any {
	return map[string]any{"record": record, "content_hash": hash, "seq": seq, "code": code, "reason": reason}
}

func exclusionEndContent(exclusion uuid.UUID, reason string) any {
	return map[string]any{"exclusion": exclusion, "reason": reason}
}

func correctionContent(record uuid.UUID, hash string, original uuid.UUID, originalHash string) any {
	return map[string]any{"record": record, "content_hash": hash, "original": original, "original_hash": originalHash}
}

func approvalContent(code, revision, bodyHash string) any {
	return struct{ Code, Revision, BodySHA256 string }{code, revision, bodyHash}
}

func resumeContent(id, spec uuid.UUID, what quality.Sampled, reason string) any {
	return map[string]any{"switch": id, "spec": spec, "kind": what, "reason": reason}
}

func reviewContent(number int64, head string, changes []string, note string) any {
	return map[string]any{"seal": number, "head": head, "changes": changes, "note": note}
}

func returnContent(shipment, part uuid.UUID, reason string) any {
	return map[string]any{"shipment": shipment, "part": part, "reason": reason}
}

func certificateContent(id uuid.UUID, number, contentHash string) any {
	return map[string]any{"certificate": id, "number": number, "content_hash": contentHash}
}
