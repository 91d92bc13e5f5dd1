package quality

import "fmt"

// A FilmRuleSet is a film acceptance rule with all its figures, ready to be compared with others on the same readings.
type FilmRuleSet struct {
	Code   string // stable, such as "areas80" or "share_aama_2605"
	Name   string
	Spec   FilmSpec
	Source string // where the figures come from and how sure they are; empty for the spec's own
}

// A FilmComparison is the judgement of one rule set.
type FilmComparison struct {
	Set       FilmRuleSet
	Judgement Judgement
}

// FilmRuleSets returns the rules that the trade judges film by, applied to the limits, guard, number of spots and readings of a
// spec. The first four are the families areas80, spot_area, each and share, with the spec's own Level, Share and Floor
// where it has them, else with level 3, 80 % and a floor of 85 % of the minimum. Behind them stand the restriction levels and
// the published variants of the share rule.
//
// The limits of the spec are applied as they are: the minimum that a standard itself names (such as 30 µm by AAMA 2604) is
// not put in their place.
func FilmRuleSets(spec FilmSpec) []FilmRuleSet {
	with := func(code, name, source string, change func(*FilmSpec)) FilmRuleSet {
		s := FilmSpec{Limits: spec.Limits, Spots: spec.Spots, ReadingsPerSpot: spec.ReadingsPerSpot, Guard: spec.Guard, MaxTotal: spec.MaxTotal,
			Areas: spec.Areas, SpotsPerArea: spec.SpotsPerArea}
		change(&s)
		return FilmRuleSet{Code: code, Name: name, Spec: s, Source: source}
	}
	share := func(of, floor, under float64, mean bool) func(*FilmSpec) {
		return func(s *FilmSpec) {
			s.Rule, s.Share, s.UnderFloor, s.MeanToo = ShareOfReadings, of, under, mean
			if s.Limits.Low != nil {
				s.Floor = s.Limits.Low.scaled(floor)
			}
		}
	}
	level := func(n int) func(*FilmSpec) { return func(s *FilmSpec) { s.Rule, s.Level = SpotArea, n } }
	own := spec.Level
	if own == 0 {
		own = 3
	}
	sets := []FilmRuleSet{
		with(string(Areas80), "mean and 80 %", "Qualicoat specifications 2.3 (from memory, unverified)", func(s *FilmSpec) { s.Rule = Areas80 }),
		with(string(SpotArea), fmt.Sprintf("spot and area, level %d", own), "SSPC-PA 2", level(own)),
		with(string(EachReading), "every reading", "", func(s *FilmSpec) { s.Rule = EachReading }),
		with(string(ShareOfReadings), "share of readings", "AAMA 2603 and 2604 (seen in a comparison table) where the spec has no figures of its own", func(s *FilmSpec) {
			share(0.8, 0.85, 0, false)(s)
			if spec.Share > 0 {
				s.Share = spec.Share
			}
			if spec.Floor != nil {
				s.Floor = spec.Floor
			}
			s.UnderFloor, s.MeanToo = spec.UnderFloor, spec.MeanToo
		}),
	}
	for n := 1; n <= len(levels); n++ {
		source := "SSPC-PA 2 (from memory, unverified)"
		if n == 1 || n == 3 {
			source = "SSPC-PA 2 (seen in summaries)"
		}
		sets = append(sets, with(fmt.Sprintf("spot_area_%d", n), fmt.Sprintf("spot and area, level %d", n), source, level(n)))
	}
	return append(sets,
		with("share_iso_19840", "mean, 80 % of the readings, none under 80 %", "ISO 19840 (mean and floor seen in a summary, the share of 20 % from memory); written for rough steel from 40 µm", share(0.8, 0.8, 0, true)),
		with("share_90_10", "mean, 90 % of the readings, none under 90 %", "IMO PSPC (seen in a summary); the mean as in ISO 19840", share(0.9, 0.9, 0, true)),
		with("share_aama_2604", "80 % of the readings, none under 85 %", "AAMA 2603 and 2604 (seen in a comparison table)", share(0.8, 0.85, 0, false)),
		with("share_aama_2605", "80 % of the readings, at most 5 % under 85 %", "AAMA 2605 (seen in a comparison table and its clause)", share(0.8, 0.85, 0.05, false)),
	)
}

// CompareFilmRules judges the same readings by every rule of FilmRuleSets. The verdicts may differ, which is why the rule is
// stored with each verdict: the rule of the contract decides, and the others only tell how near it is to them. The check is
// not changed; the flags of its readings stay as they are.
func CompareFilmRules(spec FilmSpec, c Circumstance, check Check) []FilmComparison {
	var out []FilmComparison
	for _, set := range FilmRuleSets(spec) {
		own := check
		own.Readings = append([]Reading(nil), check.Readings...)
		out = append(out, FilmComparison{Set: set, Judgement: JudgeFilm(set.Spec, c, &own).sorted()})
	}
	return out
}
