// Package safety holds the published temperature figures that cooked food is
// compared with, and one catalogue of the cautions trivet shows where a
// person could be hurt.
//
// trivet never calls food safe. It states which published figure a logged
// temperature reached, did not reach, or cannot be told to have reached, and
// defers to local food codes and licensed practice. Start with [Cautions].
package safety

import (
	"fmt"
	"slices"
	"strings"
)

// Where names a place a caution is shown at: where the act happens.
type Where string

// Places a caution may be shown at.
const (
	OnPlan     Where = "plan"
	OnRunSheet Where = "run-sheet"
	OnTraySide Where = "tray-sheet"
	OnBallot   Where = "ballot"
	OnReport   Where = "report"
	OnQuality  Where = "quality" // the report on each cook's record
	OnOverlay  Where = "overlay"
)

// Caution is one entry of the catalogue: wording is trivet's own.
type Caution struct {
	Code   string  `json:"code"`
	Title  string  `json:"title"`
	Text   string  `json:"text"`
	Source string  `json:"source"` // where the fact comes from
	Where  []Where `json:"-"`
}

// ShownAt reports whether the caution belongs at a place.
func (c Caution) ShownAt(w Where) bool { return slices.Contains(c.Where, w) }

// Setting is who the food is for.
type Setting string

// Settings. Staff and Public add the reminder that local rules apply.
const (
	Home   Setting = "home"
	Staff  Setting = "staff"
	Public Setting = "public"
)

// Facts are the plain facts the catalogue is triggered by. Zero values mean
// unknown and never switch a caution off.
type Facts struct {
	Animal    string // beef | pork | lamb | veal | chicken | turkey | duck | fish | shellfish | egg; "none" for food without animal products
	Form      string // intact | ground | tenderised | injected | stuffed
	Eaten     bool   // someone eats it
	Tasting   bool   // assessors taste it
	Probed    bool   // a probe was pushed into pieces that are eaten
	Fat       string // frying or basting fat; "" for none
	HotFat    bool   // fat is heated to frying or spooning temperature
	HottestC  float64
	Allergens []string // declared ones; ["none"] where somebody looked and found none
	Setting   Setting
	Judged    State  // against the consumer figure
	ServedC   string // the coldest logged core as printed, "" unknown
	Held      bool   // portions are kept warm before serving
	Predicted bool   // the temperatures are a model's, nothing was cooked or logged
}

// Cautions returns the entries whose trigger holds, in the order they are
// shown: what can hurt at once first.
func Cautions(f Facts) []Caution {
	var out []Caution
	add := func(code, title, text, source string, where ...Where) {
		out = append(out, Caution{Code: code, Title: title, Text: text, Source: source, Where: where})
	}
	animal := f.Animal != "none"

	if f.HotFat || f.Fat != "" {
		text := "Hot fat burns deeply and can catch fire. Dry the food first, keep water and children away, never leave it. " +
			"If it smokes, take it off the heat; if it burns, heat off, lid on, no water."
		if r, ok := SmokePoint(f.Fat); ok {
			text += fmt.Sprintf(" %s: published smoke points lie between %.0f and %.0f °C and fall with use.", sentenceCase(r.Fat), r.LowC, r.HighC)
		}
		add("hot-fat", "Hot fat", text,
			"common practice, no source; smoke points: range over four public tables, which disagree",
			OnPlan, OnRunSheet, OnReport, OnQuality, OnOverlay)
	}
	if animal {
		add("raw-and-cooked", "Raw and cooked apart",
			"Keep boards, trays, scales, tongs and probes for raw and for cooked pieces apart, or clean and sanitise them in between. "+
				"Wash hands after raw food.",
			"FDA Food Code 2022, chapter 3 (cross-contamination)", OnPlan, OnRunSheet)
	}
	if f.Eaten && animal && f.Judged != Reached {
		minimum := "the figure published for this food"
		if m, ok := ConsumerMinimum(f.Animal, f.Form); ok {
			minimum = m.Describe()
		}
		text := "Raw or undercooked animal food can make people ill, above all young children, older people, " +
			"pregnant women and people with a weakened immune system. "
		switch f.Judged {
		case NotReached:
			text += fmt.Sprintf("The coldest logged core here did not reach %s%s. Tell whoever eats it, and do not serve it to those people.", minimum, servedAt(f.ServedC))
		default:
			from := "the log"
			if f.Predicted {
				from = "a prediction"
			}
			text += fmt.Sprintf("Whether every piece reached %s cannot be told from %s. Treat it as not reached.", minimum, from)
		}
		add("undercooked", "Served undercooked", text,
			"consumer advisory after FDA Food Code 2022, 3-603.11; figures: USDA FSIS, consumer chart of minimum internal temperatures",
			OnPlan, OnRunSheet, OnTraySide, OnBallot, OnReport, OnQuality, OnOverlay)
	}
	if f.Probed && f.Eaten && animal && (f.Form == "" || f.Form == "intact") {
		add("probed-piece", "Probed pieces",
			"A probe pushed into an intact piece can carry bacteria from its surface to the core, so what is allowed for intact pieces no longer plainly applies. "+
				"Give tasters unprobed twins where you can; clean the probe between pieces and count tips and wires before serving.",
			"common practice, no source", OnPlan, OnRunSheet, OnTraySide, OnReport, OnQuality)
	}
	declared := slices.DeleteFunc(slices.Clone(f.Allergens), func(a string) bool { return a == "none" })
	if f.Eaten && (f.Tasting || len(f.Allergens) > 0) {
		list := "Ask every eater about allergies before anything is served, and exclude those concerned."
		if len(declared) > 0 {
			list = "This food contains or may contain " + strings.Join(declared, ", ") + ". " + list
		}
		add("allergens", "Allergens", list+" Cooking fats, marinades and shared pans carry allergens too.",
			"lists of FALCPA 2004 and the FASTER Act 2021 (US) and of Regulation (EU) 1169/2011, Annex II", OnPlan, OnRunSheet, OnTraySide, OnBallot, OnReport, OnQuality)
	}
	if f.Tasting {
		add("consent", "Consent",
			"Tasters agree beforehand, knowing the ingredients and how the food was cooked; they may stop at any time without a reason. "+
				"Use single-use or freshly washed cutlery and never serve a portion twice.",
			"common practice, no source", OnPlan, OnTraySide, OnBallot)
	}
	if f.Held {
		add("warm-holding", "Keeping portions warm",
			"Keep hot portions at 57 °C (135 °F) or hotter, or note the time they leave it: serve within your local limit (4 hours at most under the US model code, with written procedures) and discard what is left.",
			"FDA Food Code 2022, 3-501.16 and 3-501.19", OnPlan, OnTraySide, OnRunSheet)
	}
	if len(out) > 0 {
		text := "These remarks are no judgement that any food is fit to eat. Your local food code and the licensed operator or food-safety professional in charge decide."
		if f.Setting == Staff || f.Setting == Public {
			text += " Food served to staff or the public falls under your local authority's rules: permits, a certified manager, a variance or a written hazard plan may be needed."
		}
		add("local-rules", "Local rules decide", text, "FDA Food Code 2022 is a model code; adoption differs by place",
			OnPlan, OnRunSheet, OnTraySide, OnReport, OnQuality)
	}
	return out
}

func servedAt(s string) string {
	if s == "" {
		return ""
	}
	return " (coldest core logged: " + s + ")"
}

func sentenceCase(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
