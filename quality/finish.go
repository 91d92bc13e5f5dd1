package quality

import (
	"fmt"
	"slices"
)

// A FinishDefect is an entry of the catalogue of visual defects: its code, the trade's word, what it looks like and what
// usually causes it.
type FinishDefect struct {
	Code  string
	Name  string
	Look  string
	Cause string
}

// ScratchToMetal is the code of the defect that no spec may permit: bare metal under a broken film corrodes.
//
// Source: Qualicoat rules for visual inspection (seen in a restatement, technicdoor.com).
const ScratchToMetal = "scratch_to_metal"

// FinishDefects is the catalogue. Words of the trade; causes are common practice, no published source.
var FinishDefects = []FinishDefect{
	{"pinhole", "Pinhole", "tiny hole through the film", "gas or water from the metal"},
	{"outgassing", "Outgassing", "many pinholes or bubbles on castings and weld beads", "porosity, trapped rinse water"},
	{"crater", "Crater", "round hollow, metal may show", "oil, silicone or wax"},
	{"fisheye", "Fisheye", "crater with a rim", "silicone, mixed powders"},
	{"orange_peel", "Orange peel", "dimpled skin", "film too thick or too thin, slow heat-up"},
	{"sag", "Sag or run", "thick lip at a low edge", "film too thick, part too hot"},
	{"inclusion", "Inclusion", "lump of dirt or fibre under the film", "air, rack flakes, unsieved powder"},
	{"thin_film", "Thin film", "metal tint shows", "low deposit, bad earth"},
	{"faraday_void", "Faraday void", "bare or thin inside corner", "voltage too high, gun angle"},
	{"back_ionisation", "Back ionisation", "star pits, rough", "film too thick, voltage too high"},
	{"picture_framing", "Picture framing", "heavy edges", "field at the edges"},
	{"overspray", "Overspray", "rough dust on a masked or other-colour face", "drift, poor purge"},
	{"colour_mismatch", "Colour mismatch", "shade off the standard", "wrong lot, over-bake, angle of metallics"},
	{"gloss_off", "Gloss off", "too shiny or too dull", "cure, contamination"},
	{"blister", "Blister", "raised bubble", "salts, poor rinse, oil"},
	{"chip", "Chip or scratch", "film broken, metal not reached", "racking, packing"},
	{ScratchToMetal, "Scratch to metal", "film cut through to the metal", "handling, packing"},
	{"rack_mark", "Rack mark", "bare contact spot", "hanging point on a visible face"},
	{"under_cure", "Under-cure", "soft, fails the rub test", "oven too cold or too short"},
	{"over_cure", "Over-cure", "yellow, brittle", "oven too hot or too long"},
}

func finishDefectName(code string) string {
	for _, d := range FinishDefects {
		if d.Code == code {
			return d.Name
		}
	}
	return "Defect " + clip(code)
}

// JudgeFinish judges how a finish looks and the properties the spec asks for. A defect passes when the spec has a row for
// it, its lines together stay within the row's count, and each is within the row's size (a row with size 0 sets no size);
// any other defect fails, and a scratch to metal fails whatever the spec says.
//
// The check is incomplete when it neither lists a defect nor states that none was found, when a size is missing that decides,
// and when gloss, adhesion, light or viewing distance are asked for and missing. Gloss and adhesion that onSample says are not
// due on this part are judged where the check has them, and are not missed. Looking from farther away than the spec says is
// looking again, not a fail.
func JudgeFinish(spec FinishCheckSpec, check *Check, onSample ...Item) Judgement {
	j := Judgement{Rule: "finish"}
	if spec.DistanceMM > 0 {
		j.Rule = fmt.Sprintf("finish seen from %s mm", Number(spec.DistanceMM, 0))
		// From nearer more is seen, so only farther away counts as not looked at.
		j.condition(check, condition{code: "viewing_distance", rule: "viewing distance", what: "viewing distance",
			limits: AtMost(spec.DistanceMM, Millimetre), again: "Look again from nearer."})
	}
	if j.searched(check) {
		judgeDefects(&j, spec, check)
	}
	j.lightEnough(spec.Light, check)
	if g := spec.Gloss; g != nil && (asks(FinishGloss, onSample) || slices.ContainsFunc(check.Of("gloss"), Reading.measured)) {
		judgeGloss(&j, *g, check)
	}
	if a := spec.Adhesion; a != nil {
		if _, tested := check.anyRating(RatingAdhesion); tested || asks(FinishAdhesion, onSample) {
			judgeAdhesion(&j, *a, check)
		}
	}
	return j
}

func judgeDefects(j *Judgement, spec FinishCheckSpec, check *Check) {
	seen := map[string]int{}
	for i := range check.Defects {
		d := &check.Defects[i]
		if d.Code == NoneFound {
			continue
		}
		seen[d.Code] += max(d.Count, 1)
		d.Flag = judgeDefect(j, spec, *d, seen[d.Code])
	}
}

func judgeDefect(j *Judgement, spec FinishCheckSpec, d Defect, sofar int) Flag {
	name, at := finishDefectName(d.Code), ""
	if d.Place != "" {
		at = upperFirst(d.Place) + ": "
	}
	row, ok := defectRow(spec.Allowed, d.Code)
	switch {
	case d.Code == ScratchToMetal:
		j.failed("defect", d.Place, "never permitted", d.Code, "%sscratch to metal is never permitted.", at)
		return High
	case !ok:
		j.failed("defect", d.Place, "not permitted", d.Code, "%s%s is not permitted by the spec.", at, caseFor(at, lowerFirst(name)))
		return High
	case sofar > row.Count:
		j.failed("defect", d.Place, "at most "+counted(row.Count, "piece"), d.Code, "%s%s: %d on the part, at most %d permitted.", at, caseFor(at, lowerFirst(name)), sofar, row.Count)
		return High
	case row.SizeMM > 0 && d.SizeMM == nil:
		j.missing("defect", d.Place, "at most "+Number(row.SizeMM, 2)+" mm", "%s%s is permitted up to %s mm. Measure its size.", at, caseFor(at, lowerFirst(name)), Number(row.SizeMM, 2))
		return Unflagged
	case row.SizeMM > 0:
		return j.compare(comparison{rule: "defect", place: d.Place, what: lowerFirst(name) + ",", value: *d.SizeMM,
			text: sizeDigits(d.SizeText, *d.SizeMM), unit: Millimetre, limits: AtMost(row.SizeMM, Millimetre), high: d.Code})
	}
	j.met("defect", d.Place, "at most "+counted(row.Count, "piece"), "%s%s: %d on the part, at most %d permitted.", at, caseFor(at, lowerFirst(name)), sofar, row.Count)
	return In
}

func defectRow(rows []DefectLimit, code string) (DefectLimit, bool) {
	for _, row := range rows {
		if row.Code == code {
			return row, true
		}
	}
	return DefectLimit{}, false
}

// GlossBand returns the tolerance on a nominal gloss at 60°: ±5 up to 30, ±7 up to 70, ±10 up to 100 units. ok is false
// outside 0 to 100.
//
// Source: Qualicoat, seen in coatechcoatings.com's guide to testing (0–30, 31–70, 71–100). A nominal between two bands
// counts to the upper one.
func GlossBand(nominal float64) (tolerance float64, ok bool) {
	switch {
	case !(nominal >= 0 && nominal <= 100):
		return 0, false
	case nominal <= 30:
		return 5, true
	case nominal <= 70:
		return 7, true
	}
	return 10, true
}

// GlossGeometry returns the angle in degrees at which a finish is to be measured, from its reading at 60°: 20 over 70 units,
// 85 under 10, else 60. Gloss units of different angles are not comparable. It returns ErrOutOfScale for a reading that is
// not from 0 to 2000 units, the range of a polished metal.
//
// Source: ISO 2813 (from memory, unverified) and a seen summary; older texts of ASTM D523 ask for 85° under 30 units.
func GlossGeometry(at60 float64) (int, error) {
	switch {
	case !(at60 >= 0 && at60 <= 2000):
		return 0, fmt.Errorf("%w: gloss %v", ErrOutOfScale, at60)
	case at60 > 70:
		return 20, nil
	case at60 < 10:
		return 85, nil
	}
	return 60, nil
}

func judgeAdhesion(j *Judgement, spec AdhesionSpec, check *Check) {
	limit := fmt.Sprintf("%s or better by %s", spec.Worst, methodName(spec.Method))
	code, ok := check.anyRating(RatingAdhesion)
	if !ok {
		j.missing("adhesion", "", limit, "The adhesion class is missing; %s is asked.", limit)
		return
	}
	worst, got := adhesionRank(spec.Method, spec.Worst), adhesionRank(spec.Method, code)
	switch {
	case worst < 0:
		j.missing("adhesion", "", limit, "The spec's worst class “%s” is not a class of %s.", clip(spec.Worst), methodName(spec.Method))
	case got < 0:
		j.missing("adhesion", "", limit, "“%s” is not a class of %s.", clip(code), methodName(spec.Method))
	case got < worst:
		j.failed("adhesion", "", limit, "adhesion", "Adhesion: class %s is worse than %s by %s.", code, spec.Worst, methodName(spec.Method))
	default:
		j.met("adhesion", "", limit, "Adhesion: class %s meets %s.", code, limit)
	}
}
