package web

import (
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// newTreatmentView is the form of a new treatment, with what was typed.
type newTreatmentView struct {
	In    map[string]string
	Error *fault.Error
	Open  bool
}

func newTreatmentForm(s *study.Study, at saved) newTreatmentView {
	v := newTreatmentView{In: map[string]string{"control": yesNo(len(s.Treatments) == 0)}}
	if at.Form == "new-treatment" {
		v = newTreatmentView{at.In, at.Error, true}
	}
	return v
}

// addTreatment adds a treatment by its name, with what is set for it.
func (d *Desk) addTreatment(w http.ResponseWriter, r *http.Request) {
	d.change(w, r, "new-treatment", "treatments", func(rec *bench.Record, doc *study.Document) error {
		name, id := strings.TrimSpace(r.FormValue("name")), study.NewID(r.FormValue("name"))
		switch {
		case id == "":
			return fault.New("treatment-empty", "%s", say("treatment-empty")).On("name", name).WithFix("%s", say("treatment-empty-fix"))
		case entryIn(rec.Study, "treatments", id) != nil:
			return fault.New("treatment-taken", "%s", say("treatment-taken", id)).On("name", name).WithFix("%s", say("treatment-taken-fix"))
		}
		t := study.Fields{{Key: "id", Value: id}, {Key: "name", Value: name}}
		if r.FormValue("control") == "yes" {
			if err := setControl(doc, rec.Study, ""); err != nil {
				return err
			}
			t = append(t, study.Field{Key: "control", Value: true})
		}
		if key, value := settingName(r.FormValue("setting")), strings.TrimSpace(r.FormValue("value")); key != "" || value != "" {
			if err := soundSetting(key, value, "setting", "value"); err != nil {
				return err
			}
			t = append(t, study.Field{Key: "set", Value: study.Fields{{Key: key, Value: value}}})
		}
		return doc.Append("treatments", t)
	})
}

// controlOf is the treatment that the others are compared with; "" none is
// marked.
func controlOf(s *study.Study) string {
	for _, t := range s.Treatments {
		if t.Control {
			return t.ID
		}
	}
	return ""
}

// setControl marks one treatment as the control, and no other.
func setControl(doc *study.Document, s *study.Study, id string) error {
	for _, t := range s.Treatments {
		if t.Control == (t.ID == id) {
			continue
		}
		if err := doc.Set("treatments["+t.ID+"].control", t.ID == id); err != nil {
			return err
		}
	}
	return nil
}

// controlForm says which treatment the others are compared with.
func (b formBuilder) controlForm(words answer.Words) form {
	all := choices("")
	for _, t := range b.rec.Study.Treatments {
		all = append(all, choice{t.ID, words.Treatment(t.ID)})
	}
	return b.form("control", say("change-control"), b.pick("control", say("field-which-control"), say("field-which-control-hint"), all...))
}

// settingForms are the forms of what is set for a treatment.
func (b formBuilder) settingForms(v *treatmentView, t study.Treatment) {
	fields := []field{b.line("treatments["+t.ID+"].name", say("field-treatment-name"), "")}
	for _, x := range v.Set {
		fields = append(fields, b.line("treatments["+t.ID+"].set."+x.Value, x.Value, ""))
		v.Settings = append(v.Settings, b.removal("settings", t.ID+"."+x.Value, say("remove-setting", x.Value), say("remove-is")))
	}
	summary := say("change-treatment")
	if len(fields) > 1 {
		summary = say("change-settings")
	}
	v.Form = b.form("treatment-"+v.ID, summary, fields...)
	v.Form.Try = b.trialAt()
	v.NewSetting = b.adding("settings", "new-setting-"+t.ID, say("add-setting"), []choice{{"question", t.ID}},
		b.line("settings[new].name", say("field-setting"), say("field-setting-hint")), b.line("settings[new].value", say("field-setting-value"), say("field-setting-value-hint")))
	v.NewSetting.Try = b.trialAt()
}

// settingIn finds a setting by its treatment and key, "early.salt".
func settingIn(s *study.Study, name string) (string, bool) {
	id, key, _ := strings.Cut(name, ".")
	for _, t := range s.Treatments {
		if t.ID == id {
			v, ok := t.Set[key]
			return v, ok
		}
	}
	return "", false
}

// settingPath is where a setting stands in the document, and its group.
func settingPath(name string) (path, group string) {
	id, key, _ := strings.Cut(name, ".")
	group = "treatments[" + id + "].set"
	return group + "." + key, group
}

// settingName is a setting's key as somebody typed it, in one line.
func settingName(text string) string { return strings.Join(strings.Fields(text), " ") }

var soundKey = regexp.MustCompile(`^[\p{L}\p{N}_][\p{L}\p{N}_ -]*$`)

// soundSetting looks at a setting as it was typed into two fields.
func soundSetting(key, value, keyField, valueField string) error {
	switch {
	case !soundKey.MatchString(key):
		return fault.New("setting-name", "%s", say("setting-name-bad")).On(keyField, key).WithFix("%s", say("setting-name-fix"))
	case value == "":
		return fault.New("setting-value", "%s", say("setting-value-bad")).On(valueField, value).WithFix("%s", say("setting-value-fix"))
	}
	return nil
}

// addSetting adds something that is set for a treatment.
func addSetting(s *study.Study, doc *study.Document, treatment, key, value string) (string, error) {
	key = settingName(key)
	if entryIn(s, "treatments", treatment) == nil {
		return "", entryGone()
	}
	if err := soundSetting(key, value, "settings[new].name", "settings[new].value"); err != nil {
		return "", err
	}
	if _, ok := settingIn(s, treatment+"."+key); ok {
		return "", fault.New("setting-taken", "%s", say("setting-taken", key)).On("settings[new].name", key).WithFix("%s", say("setting-taken-fix"))
	}
	return "treatment-" + treatment, doc.Set("treatments["+treatment+"].set."+key, value)
}

// looksText is when a group-sequential plan is looked at, as it is typed.
func looksText(looks []int) string {
	var out []string
	for _, n := range looks {
		out = append(out, strconv.Itoa(n))
	}
	return strings.Join(out, ", ")
}

// looksTyped is a list of numbers as the document has it; what is no number
// stays as it was typed, so that reading the document says so.
func looksTyped(text string) any {
	out := []any{}
	for _, part := range parted(strings.ReplaceAll(text, ";", ","), ",") {
		if n, err := strconv.Atoi(part); err == nil {
			out = append(out, n)
		} else {
			out = append(out, part)
		}
	}
	return out
}

// dropLooks takes the planned looks out of a plan that is looked at in another
// way now, unless somebody typed them just then.
func dropLooks(doc *study.Document, s *study.Study, at *saved) error {
	mode, asked := at.In["risk.mode"]
	if !asked || mode == "group-sequential" || s.Risk.Mode != "group-sequential" {
		return nil
	}
	for _, key := range []string{"looks", "spending"} {
		path := "risk." + key
		if typed, ok := at.In[path]; ok && !same(typed, at.Was[path]) {
			continue
		}
		if written, ok := doc.Written(path); !ok || len(written) == 0 {
			continue
		}
		if err := doc.Remove(path); err != nil {
			return err
		}
	}
	return nil
}
