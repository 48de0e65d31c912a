package web

import (
	"slices"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// What few questions need: how a reading is judged, what a difference is
// adjusted for, the size of a tasting as a distance, what it is to show. Then
// quantities held the same under a name of one's own, and the offset of the
// study's clocks.

// questionMore is a field of a question that few need, as its form shows it.
func questionMore(q study.Question, field string) (string, bool) {
	switch {
	case field == "judged" && q.Tasting == nil:
		return yesNo(q.Judged), true
	case field == "blind" && q.Tasting == nil:
		return yesNo(q.Blind), true
	case field == "covariates" && q.Tasting == nil:
		return covariateText(q.Covariates), true
	case field == "tasting.dprime" && q.Tasting != nil:
		if q.Tasting.DPrime == 0 {
			return "", true
		}
		return number(q.Tasting.DPrime), true
	case field == "tasting.for" && q.Tasting != nil:
		return q.Tasting.For, true
	}
	return "", false
}

// covariateText is a set of covariates in the order in which they are listed.
func covariateText(names []string) string {
	var out []string
	for _, x := range study.Covariates() {
		if slices.Contains(names, x) {
			out = append(out, x)
		}
	}
	return strings.Join(out, ", ")
}

// covariateChoices are all sets of covariates, in words.
func covariateChoices() []choice {
	all := study.Covariates()
	out := make([]choice, 1<<len(all))
	for i := range out {
		var names, words []string
		for k, x := range all {
			if i>>k&1 == 1 {
				names, words = append(names, x), append(words, say("covariate-"+x))
			}
		}
		out[i] = choice{strings.Join(names, ", "), say("covariate-none")}
		switch n := len(words); {
		case n == 1:
			out[i].Name = words[0]
		case n > 1:
			out[i].Name = strings.Join(words[:n-1], ", ") + " " + say("and") + " " + words[n-1]
		}
	}
	slices.SortStableFunc(out, func(a, b choice) int { return strings.Count(a.Value, ",") - strings.Count(b.Value, ",") })
	return out
}

// questionFields are the fields of a question that few need.
func (b formBuilder) questionFields(q study.Question) []field {
	at := "questions[" + q.ID + "]."
	if q.Tasting != nil {
		return []field{b.line(at+"tasting.dprime", say("field-dprime"), say("field-dprime-hint")),
			b.pick(at+"tasting.for", say("field-for"), say("field-for-hint"), choice{"difference", say("for-difference")}, choice{"similarity", say("for-similarity")})}
	}
	return []field{b.pick(at+"covariates", say("field-covariates"), say("field-covariates-hint"), covariateChoices()...),
		b.pick(at+"judged", say("field-judged"), say("field-judged-hint"), choices("no", "yes")...),
		b.pick(at+"blind", say("field-was-blind"), say("field-was-blind-hint"), choices("no", "yes")...)}
}

// questionSays is what the fields of questionFields add to a question's
// sentence.
func questionSays(q study.Question) string {
	var out []string
	if len(q.Covariates) > 0 {
		i := slices.IndexFunc(covariateChoices(), func(c choice) bool { return c.Value == covariateText(q.Covariates) })
		out = append(out, say("question-adjusted", covariateChoices()[i].Name))
	}
	switch {
	case q.Judged && q.Blind:
		out = append(out, say("question-judged-blind"))
	case q.Judged:
		out = append(out, say("question-judged"))
	case q.Blind:
		out = append(out, say("question-blind"))
	}
	if q.Tasting != nil && q.Tasting.For == "similarity" {
		out = append(out, say("question-similar"))
	}
	if len(out) == 0 {
		return ""
	}
	return " " + strings.Join(out, " ")
}

// questionMeans is what a change of a sealed question means.
func (b formBuilder) questionMeans(q study.Question) string {
	if b.rec.Seal == nil {
		return ""
	}
	if q.Tasting != nil {
		return say("question-means-tasting")
	}
	return say("question-means")
}

// typedMore is what a form's text of these fields becomes in the document;
// false for all other fields.
func typedMore(path, text string) (any, bool) {
	switch {
	case !strings.HasPrefix(path, "questions["):
		return nil, false
	case strings.HasSuffix(path, "].judged"), strings.HasSuffix(path, "].blind"):
		return text == "yes", true
	case strings.HasSuffix(path, "].covariates"):
		return parted(text, ","), true
	case strings.HasSuffix(path, "].tasting.dprime"):
		if v, err := strconv.ParseFloat(text, 64); err == nil && finite(v) {
			return v, true
		}
		return text, true
	}
	return nil, false
}

// mayGo tells which fields are taken out of the document when they are
// emptied; others are left empty in their place.
func mayGo(path string) bool {
	return path == "utc_offset" || strings.HasPrefix(path, "controlled.") ||
		strings.HasPrefix(path, "questions[") && (strings.HasSuffix(path, "].covariates") || strings.HasSuffix(path, "].tasting.dprime") || strings.HasSuffix(path, "].tasting.discriminators"))
}

// clockOffset is the offset of the study's clocks as it was written.
func clockOffset(rec *bench.Record) string {
	return strings.Join(writtenAt(rec.Document, "utc_offset", "utc_offset"), "")
}

// offsetForm is the form of that offset.
func (b formBuilder) offsetForm() form {
	f := b.form("clock-offset", say("change-offset"), b.line("utc_offset", say("field-offset"), say("field-offset-hint")))
	f.Sealed, f.Try = false, b.trialAt()
	return f
}

// trialAt is where a form is tried out while it is filled in.
func (b formBuilder) trialAt() string { return "/studies/" + b.rec.Study.ID + "/trial" }

// newControl is the form that holds something else the same.
func (b formBuilder) newControl() form {
	f := b.adding("controlled", "new-control", say("add-control"), nil,
		b.line("controlled[new].name", say("field-control-name"), say("field-control-name-hint")),
		b.line("controlled[new].amount", say("field-control-amount"), say("field-control-amount-hint")))
	f.Try = b.trialAt()
	return f
}

// addControl holds something else the same, and says so.
func addControl(rec *bench.Record, doc *study.Document, in map[string]string) (what string, err error) {
	const at = "controlled[new]."
	name, amount := strings.TrimSpace(in[at+"name"]), strings.TrimSpace(in[at+"amount"])
	key := study.NewID(name)
	switch {
	case key == "":
		return "", fault.New("control-empty", "%s", say("control-empty")).On(at+"name", name).WithFix("%s", say("control-empty-fix"))
	case slices.ContainsFunc(rec.Study.Controlled, func(c study.Control) bool { return c.Name == key }):
		return "", fault.New("control-taken", "%s", say("control-taken")).On(at+"name", name).WithFix("%s", say("control-taken-fix"))
	case amount == "":
		return "", fault.New("control-amount", "%s", say("control-amount")).On(at+"amount", amount).WithFix("%s", say("control-amount-fix"))
	}
	if err := doc.Set("controlled."+key, amount); err != nil {
		return "", err
	}
	_, err = doc.Study()
	if f := fault.As(err); f != nil && f.Field == "controlled."+key {
		return "", f.On(at+"amount", amount)
	}
	return say("control-added", strings.ReplaceAll(key, "-", " "), amount), err
}
