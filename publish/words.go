package publish

// words holds every sentence that the report itself says, in one place. What
// a study says of itself, and the cautions, come in with the [Report].
type words struct {
	Invented    string
	Skip        string
	Contents    string
	Claim       string
	Scope       string
	Fair        string
	Against     string
	Answers     string
	AnswersNone string
	Evidence    string
	Numbers     string
	Checks      string
	States      map[State]string
	Sensitivity string
	OtherWays   string
	Corrections string
	WhyNot      string
	Notes       string
	FigureTable string

	Plan        string
	Sealed      string
	SealBefore  string
	SealAfter   string
	SealUnknown string
	SealTime    string
	SealHash    string
	SealFirst   string
	Clock       string
	Unsealed    string
	Unchanged   string
	Changed     string
	Controls    string
	Instruments string
	Void        string
	Order       string
	OrderHead   [5]string
	History     string
	HistoryHead [2]string

	Cooks         string
	CooksNone     string
	CookTable     string
	CookTraces    string
	CookHead      [5]string
	Uncertainty   string
	Weighings     string
	WeighingsNone string
	Photos        string
	PhotoNoAlt    string
	WeighingHead  [4]string
	Marks         string
	MarkHead      [3]string
	Deviations    string
	DeviationNone string
	VoidCook      string

	Methods       string
	Responses     string
	HowVerdict    string
	Verdict       []string
	Sources       string
	Cautions      string
	CautionsLead  string
	CautionSource string
	Data          string
	DataNone      string
	DataHead      [4]string
	DataHash      string
	Rerun         string
	RerunLead     string
	Versions      string
	Licence       string
	LicenceNone   string
	Made          string
}

var english = words{
	Invented:    "Invented data. Nothing on this page was measured: the numbers were made up to show how a report reads.",
	Skip:        "Skip to the answers",
	Contents:    "On this page",
	Claim:       "The claim under test",
	Scope:       "Scope",
	Fair:        "Why the comparison is a fair test",
	Against:     "What would count against it",
	Answers:     "The answers",
	AnswersNone: "This study asks no questions yet.",
	Evidence:    "The evidence",
	Numbers:     "All numbers of this answer",
	Checks:      "What was checked before the verdict",
	States:      map[State]string{Passed: "passed", Failed: "failed", Unsure: "could not be checked", Doubtful: "in doubt"},
	Sensitivity: "Does it hang on a detail?",
	OtherWays:   "Does it hang on how the response is defined?",
	Corrections: "Corrections made to the traces",
	WhyNot:      "Why there is no verdict",
	Notes:       "Notes",
	FigureTable: "Figure %d in numbers",

	Plan:        "The plan and its seal",
	Sealed:      "The fingerprint below was taken of the claim, questions, margins, treatments, design and stopping rule; anyone can take it again from the study file.",
	SealBefore:  "The plan was sealed before the first planned cook.",
	SealAfter:   "The plan was sealed only after the first planned cook.",
	SealUnknown: "The plan was sealed.",
	SealTime:    "Sealed",
	SealHash:    "Fingerprint (SHA-256)",
	SealFirst:   "First planned cook",
	Clock:       "The time of the seal comes from the clock of the computer it was made on. A local clock can lie: the fingerprint shows that the plan was not changed since, not when it was made.",
	Unsealed:    "The plan was not sealed before the data. The numbers stand, but there is no verdict: nobody can tell whether the margin or the question was chosen after looking.",
	Unchanged:   "Nothing that was sealed has been changed since.",
	Changed:     "Changed since the seal",
	Controls:    "Held alike, with the tolerance that voids a cook",
	Instruments: "Instruments and their checks",
	Void:        "A cook does not count when",
	Order:       "Run order",
	OrderHead:   [5]string{"Order", "Block", "Piece", "Treatment", "Code"},
	History:     "History",
	HistoryHead: [2]string{"When", "What"},

	Cooks:         "Every cook",
	CooksNone:     "No cook has been recorded yet.",
	CookTraces:    "Traces of %s.",
	CookTable:     "Responses of every cook",
	CookHead:      [5]string{"Cook", "Block", "Treatment", "Role", "Day"},
	Uncertainty:   "± is the expanded uncertainty: it holds the value at 95.45\u00a0% (k about 2).",
	Weighings:     "Weighings",
	WeighingsNone: "No weighings.",
	Photos:        "Photos",
	PhotoNoAlt:    "Photo without a description, of cook",
	WeighingHead:  [4]string{"When", "Mass", "After heat on", "Note"},
	Marks:         "Marks",
	MarkHead:      [3]string{"Mark", "After heat on", "Note"},
	Deviations:    "Deviations from the plan",
	DeviationNone: "None recorded.",
	VoidCook:      "This cook does not count",

	Methods:    "Methods",
	Responses:  "What was measured",
	HowVerdict: "How a verdict is reached",
	Verdict: []string{
		"Before any data, each question names the smallest difference that matters, its margin. The answer is the estimated average difference between the treatments with two intervals around it: a wide one (usually 95 %) and a narrow one (usually 90 %).",
		"If the whole wide interval lies at or beyond the margin, the treatment makes a difference that matters, or the reverse matters. If the whole narrow interval lies within the margin, there is no difference that matters; where the wide interval still leaves out zero, the difference is there but too small to matter. Anything else is not settled yet. This is a three-sided test after Goeman, Solari and Stijnen (Statistics in Medicine 29, 2010).",
		"Several questions on measured responses share one error rate, so that asking more does not make a lucky answer likelier: each is judged at a share of it, and a settled question passes its share on to the rest. Tastings keep an error rate of their own.",
		"A settled verdict falls back to “not settled yet” when there are too few blocks, the instrument is too coarse for the margin, a judged reading was not blind, one block alone carries the answer to another verdict, a method that does not lean on the normal distribution disagrees, or the planned number was not reached.",
	},
	Sources:       "Sources",
	Cautions:      "Cautions",
	CautionsLead:  "Nothing in this report says that a food is fit to eat. Local food codes and licensed practice decide; where they differ from this page, follow them.",
	CautionSource: "Source",
	Data:          "The data",
	DataNone:      "No data files come with this page.",
	DataHead:      [4]string{"File", "What it holds", "Size", "SHA-256"},
	DataHash:      "Each fingerprint is that of the file as published: a changed file gives another one.",
	Rerun:         "Run it again",
	RerunLead:     "In the folder of this report, one command computes every number again from the data:",
	Versions:      "Made with",
	Licence:       "Licence of the data and text",
	LicenceNone:   "No licence was stated: ask the authors before reusing the data.",
	Made:          "Report made",
}
