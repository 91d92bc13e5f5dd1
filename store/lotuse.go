package store

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// lotRoles says which kinds of material may go into an act in a role.
var lotRoles = map[string][]string{
	"powder": {Powder}, "chemical": {Cleaner, Conversion}, "titrant": {Titrant}, "solvent": {Solvent}, "filler": {Filler}, "heat": {Heat}, "tape": {Tape},
}

// lotKinds says which lots a kind of record offers.
var lotKinds = map[quality.Kind][]string{
	quality.Weld: {Filler, Heat}, quality.Pretreatment: {Cleaner, Conversion}, quality.Coating: {Powder}, quality.CureTest: {Solvent}, quality.Finish: {Tape},
	quality.PanelTest: {Tape, Solvent}, quality.BathReading: {Titrant}, quality.BathAddition: {Cleaner, Conversion},
}

// sheetKinds says whose safety data sheets belong to the step that a kind of record tells of.
var sheetKinds = map[quality.Kind][]string{
	quality.Weld: {Filler}, quality.Pretreatment: {Cleaner, Conversion}, quality.Coating: {Powder}, quality.CureTest: {Solvent}, quality.PanelTest: {Solvent},
	quality.BathReading: {Cleaner, Conversion, Titrant}, quality.BathAddition: {Cleaner, Conversion},
}

// lockLots makes a change of a lot's status wait for the acts that use the lot, and them for it: what is coated while its powder is
// held is either on the list of touched parts or refused. Lots are locked before parts, as where a lot is held.
func lockLots(b *pgx.Batch, site uuid.UUID, entries []Entry) {
	if ids := lotsOfAll(entries); len(ids) > 0 {
		b.Queue(`SELECT 1 FROM material_lot WHERE site_id = @site AND lot_id = ANY(@lots) ORDER BY lot_id FOR SHARE`, sqlArgs{"site": site, "lots": ids})
	}
}

func lotsOfAll(entries []Entry) (ids []uuid.UUID) {
	for i := range entries {
		ids = append(ids, slices.Collect(maps.Keys(lotsIn(&entries[i])))...)
	}
	return ids
}

// askLots asks for the lots that go into acts of any kind; the answer applies the rules on those of one act: the right kind of
// material, accepted, in date, and named where the spec asks for it.
func askLots(b *pgx.Batch, site uuid.UUID, entries []Entry) (answered func(e *Entry, w *work) error) {
	known := &[]MaterialLot{}
	if ids := lotsOfAll(entries); len(ids) > 0 {
		known = ask[MaterialLot](b, selectLot+`WHERE l.site_id = @site AND l.lot_id = ANY(@lots) ORDER BY l.lot_number`, sqlArgs{"site": site, "lots": ids})
	}
	return func(e *Entry, w *work) error {
		roles := lotsIn(e)
		lots := slices.DeleteFunc(slices.Clone(*known), func(l MaterialLot) bool { return roles[l.ID] == "" })
		if len(lots) != len(roles) {
			return fmt.Errorf("lots used: %w", ErrNotFound)
		}
		named := map[string]bool{}
		var bad lotFaults
		for _, lot := range lots {
			if kinds := lotRoles[roles[lot.ID]]; !slices.Contains(kinds, lot.Kind) {
				return refuse(RuleInvalid, fmt.Sprintf("Lot %s is %s, %s %s, and cannot be used as %s. Scan the right box.", lot.LotNumber, article(lot.Kind),
					lot.MaterialCode, lot.MaterialName, article(kinds...)))
			}
			named[lot.Kind] = true
			if lot.Kind == Powder {
				w.circumstance.Powder = lot.MaterialCode
			}
			bad.look(w.site, lot, e.ObservedAt)
		}
		w.refusals = append(w.refusals, bad.refusals()...)
		if missing := lotsMissing(w.spec, e.Kind, named); missing != "" {
			w.refusals = append(w.refusals, refuse(RuleLotMissing, missing))
		}
		return nil
	}
}

// lotsIn returns the roles of the lots that went into an act.
func lotsIn(e *Entry) map[uuid.UUID]string {
	roles := map[uuid.UUID]string{}
	for _, u := range e.Uses {
		if lotRoles[u.Role] != nil {
			roles[u.ID] = u.Role
		}
	}
	return roles
}

// article names kinds of material in a sentence.
func article(kinds ...string) string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		word := MaterialKindNames[k]
		if strings.ContainsRune("aeiou", rune(word[0])) {
			words[i] = "an " + word
		} else {
			words[i] = "a " + word
		}
	}
	return strings.Join(words, " or ")
}

// lotFaults collects what is wrong with the lots of one act: one exception covers what its sentence names, and no more.
type lotFaults struct{ barred, expired []string }

func (f *lotFaults) look(st Site, lot MaterialLot, at time.Time) {
	name := upper(MaterialKindNames[lot.Kind]) + " lot " + lot.LotNumber
	switch {
	case lot.Status != "accepted":
		f.barred = append(f.barred, fmt.Sprintf("%s is %s.", name, lot.Status))
	case lot.ExpiresOn != nil && lot.ExpiresOn.Format(time.DateOnly) < at.In(st.Location()).Format(time.DateOnly):
		f.expired = append(f.expired, fmt.Sprintf("%s expired on %s.", name, lot.ExpiresOn.Format("2 January 2006")))
	}
}

func (f *lotFaults) refusals() (out []*Refusal) {
	const way = " Take another lot, or a supervisor authorises it."
	if len(f.barred) > 0 {
		out = append(out, refuseUnlessAuthorised(RuleLotRejected, strings.Join(f.barred, " ")+way))
	}
	if len(f.expired) > 0 {
		out = append(out, refuseUnlessAuthorised(RuleLotExpired, strings.Join(f.expired, " ")+way))
	}
	return out
}

// lotsMissing says which lot an act has to name and does not, or nothing.
func lotsMissing(spec quality.FinishSpec, kind quality.Kind, named map[string]bool) string {
	asks := spec.Requires
	var missing []string
	need := func(asked bool, material string) {
		if asked && !named[material] {
			missing = append(missing, MaterialKindNames[material])
		}
	}
	switch kind {
	case quality.Coating:
		need(true, Powder)
	case quality.Weld:
		need(asks.Filler, Filler)
		need(asks.Heat, Heat)
	case quality.CureTest:
		need(asks.Solvent, Solvent)
	case quality.Pretreatment:
		if spec.Pretreatment != nil {
			need(asks.Chemicals && slices.ContainsFunc(spec.Pretreatment.Stages, func(s quality.StageSpec) bool { return StageMaterial(s.Stage) == Cleaner }), Cleaner)
			need(asks.Chemicals && slices.ContainsFunc(spec.Pretreatment.Stages, func(s quality.StageSpec) bool { return StageMaterial(s.Stage) == Conversion }), Conversion)
		}
	}
	switch {
	case len(missing) == 0:
		return ""
	case kind == quality.Coating:
		return "Scan or choose the powder lot."
	}
	return fmt.Sprintf("The spec asks for the lot of the %s. Scan or choose it.", strings.Join(missing, " and of the "))
}

// StageMaterial is the kind of chemical that a stage of the wash takes, empty for a rinse or the dry-off.
func StageMaterial(stage string) string {
	switch stage {
	case "clean", "etch":
		return Cleaner
	case "convert":
		return Conversion
	}
	return ""
}
