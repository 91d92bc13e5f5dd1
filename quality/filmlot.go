package quality

import "fmt"

// A LotPlan is a single sampling plan: of Lot parts Sample are measured, and the lot is accepted with up to Accept failed.
type LotPlan struct {
	Lot, Sample, Accept int
}

// JudgeFilmLot judges a lot by the verdicts of its sampled parts. It fails as soon as more parts failed than the plan accepts,
// whatever is still to come. It is incomplete while fewer parts than the plan's sample have a verdict; a part whose own check
// is incomplete has none. It is in the guard band when it is accepted only because parts in the guard band count as good.
//
// A plan that makes no sense, and more verdicts than the sample, make it incomplete: an acceptance number holds for its own
// sample only. The parts must be picked at random, which JudgeFilmLot cannot see.
//
// Sources of plans: the lot table of the Qualideco specification (seen), MIL-STD-105E.
func JudgeFilmLot(plan LotPlan, parts []Verdict) Judgement {
	j := Judgement{Rule: fmt.Sprintf("lot of %s, %d sampled, at most %d failed", counted(plan.Lot, "part"), plan.Sample, plan.Accept)}
	if plan.Sample < 1 || plan.Lot < plan.Sample || plan.Accept < 0 || plan.Accept >= plan.Sample {
		j.missing("plan", "", "", "The sampling plan makes no sense: %d of %d parts, at most %d failed.", plan.Sample, plan.Lot, plan.Accept)
		return j
	}
	var judged, failed, guard int
	for _, verdict := range parts {
		switch verdict {
		case Pass:
		case GuardBand:
			guard++
		case Fail:
			failed++
		default:
			continue
		}
		judged++
	}
	limit := fmt.Sprintf("at most %d of %d", plan.Accept, plan.Sample)
	if judged > plan.Sample {
		j.missing("sample", "", fmt.Sprintf("%d parts", plan.Sample), "%s have a verdict, but the plan's sample is %d. Use the plan of the sample that was taken.", counted(judged, "part"), plan.Sample)
	}
	if failed > plan.Accept {
		value := float64(failed)
		j.add(Finding{Rule: "failed parts", Limit: limit, Value: &value, Verdict: Fail, Fault: "film_lot",
			Text: fmt.Sprintf("%d of %s failed; the plan accepts %d.", failed, counted(judged, "part"), plan.Accept)})
		return j
	}
	if judged < plan.Sample {
		j.missing("sample", "", fmt.Sprintf("%d parts", plan.Sample), "%s of the sample judged, %d are asked.", counted(judged, "part"), plan.Sample)
		return j
	}
	value := float64(failed)
	f := Finding{Rule: "failed parts", Limit: limit, Value: &value, Verdict: Pass, Text: fmt.Sprintf("%d of %s failed; the plan accepts %d.", failed, counted(judged, "part"), plan.Accept)}
	if failed+guard > plan.Accept {
		f.Verdict = GuardBand
		f.Text += fmt.Sprintf(" %d more are inside the guard band.", guard)
	}
	j.add(f)
	return j
}
