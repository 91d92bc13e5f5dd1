// Package quality holds the rules of a shop that welds aluminium and powder-coats it: what is measured, within which
// limits, what a check's verdict is, and what a part still needs before it may be released.
//
// It computes and never reads or writes: no database, no files, no clock. The path through it is
//
//	text typed at the bench ── ParseReading ──► Reading
//	readings, ratings, defects ── Judge ──► Judgement (a verdict and the findings that decided it)
//	judged checks as Evidence ── Gate ──► what release still asks for
//
// # Judging
//
// A [FinishSpec] holds every limit that a part is judged by; [Judge] finds the rule for a check's kind. Each can be called on
// its own: [JudgeWeld], [JudgePretreatment], [JudgeCoating], [JudgeCure], [JudgeCureTest], [JudgeFinish], [JudgeFilm],
// [JudgeVerification]. A [Judgement] names the rule, and each [Finding] its limit, value, unit and place in one sentence.
// [Gate], [MayStart] and [Next] tell from judged checks what may be done and what is missing.
//
// # Film thickness
//
// [JudgeFilm] knows four families of rules: the mean with no area under 80 %, spots and areas with restriction levels, every
// reading, and a share of the readings with a floor. The same readings can pass one and fail another; [CompareFilmRules]
// shows them side by side. [FilmSummaryOf] gives the means by spot, [FilmAreas] how many areas a surface asks for,
// [MapFilmExtent] how far a failed area reaches, [JudgeFilmLot] the verdict on a lot by a sampling plan. A guard band keeps a
// verdict clear of the gauge's own uncertainty and is stored in the rule's words.
//
// # Cure
//
// [JudgeCure] judges a peak and a time as they were read off. A [Profiler] measures a recorded profile of any length and
// interval, row by row: time above a temperature, longest run, peak, ramp, spread at soak, equivalent time by an activation
// energy, dose by the powder's own points. [JudgeCureProfile] judges it by the measure that the spec names ([CureMeasure]). A
// gap or an open thermocouple makes a record incomplete. [CureWindow] interpolates the powder's points as ln t against 1/T
// and never extrapolates in a verdict; its Required method does, and says so. [EquivalentMinutes] and [ActivationEnergy] are
// the single steps.
//
// # Codings of the trade
//
// Adhesion: [AdhesionClassD3359B], [AdhesionClassISO2409], [XCutClasses], [CutPatternFor]. Hardness: [PencilHardness],
// [PencilMeets]. Corrosion: [RustGradeD610], [RustGradeISO4628], [CreepRatingD1654], [NetMeanCreep], [ParseBlisters],
// [ParseBlistersD714], [RatingISO4628]. Gloss: [GlossBand], [GlossGeometry]. Welds: [ThroatFromLeg], [ThroatFromLegs],
// [LegFromThroat], [WeldImperfections]. Baths: [TitrationPercent], [TitrationGramsPerLitre], [TitrateCaustic], [TopUp],
// [EtchLoss]. Air: [DewPoint], [DewPointMargin]. Units: [Convert] for numbers, [ConvertText] for digits as typed.
//
// # Statistics
//
// They stand in sub-packages that need nothing of this one:
//
//   - process: summaries, control charts, capability, normality, tolerance intervals, yield and proportions;
//   - variance: components of variance of nested readings, by moments and by restricted likelihood;
//   - gauge: repeatability and reproducibility, bias and linearity, agreement of inspectors;
//   - sampling: plans for lots, their switching and operating characteristics;
//   - colour: colour differences ΔE*ab, CMC and ΔE₀₀.
//
// # Conventions
//
// A value equal to a limit is within it. A reading is compared in the unit it was taken in when the limit is written in that
// unit too, else after exact conversion, and never after rounding. A check that lacks something it must have is Incomplete,
// which is never a pass. Ordinary bad samples are errors ([ErrNotNumber], [ErrUnits], [ErrOutOfScale], [ErrCureFigure] and
// the like, found with errors.Is) or findings; no function panics on them or returns NaN or an infinity.
//
// Limits that come from a standard a shop must buy are data (FinishSpec, WeldLimit), never constants here, and each table says
// in its Source whether it was seen, is from memory, or is common practice.
package quality
