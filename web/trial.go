package web

import (
	"maps"
	"net/http"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// trialView is what a form that is being filled in would do: how its entry
// would stand, or what is wrong with it so far.
type trialView struct {
	Says  string
	Wrong []trialFault
}

type trialFault struct{ Path, Label, What string }

// trialPart tries a form out and saves nothing.
func (d *Desk) trialPart(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err == nil {
		err = r.ParseForm()
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.renderPart(w, r, http.StatusOK, "trial", d.trial(rec, r))
}

func (d *Desk) trial(rec *bench.Record, r *http.Request) trialView {
	in := map[string]string{}
	for key := range r.Form {
		if p, ok := strings.CutPrefix(key, "set:"); ok {
			in[p] = r.FormValue(key)
		}
	}
	s, l, id, err := tried(rec, r, in)
	switch {
	case err == nil && l != nil:
		return trialView{Says: say("trial-says", sentenceOf(l.Says(s, id)))}
	case err == nil:
		return trialView{}
	}
	var v trialView
	faults := fault.List{}
	if list, ok := err.(fault.List); ok {
		faults = list
	} else {
		faults = append(faults, d.s.publicFault(err))
	}
	for _, f := range faults {
		told := onField(f)
		x := trialFault{What: sentenceOf(told.Message) + " " + sentenceOf(told.Fix)}
		for _, p := range slices.Sorted(maps.Keys(in)) {
			if belongs(told.Field, p) {
				x.Path = p
				if _, key, _ := strings.Cut(p, "]."); l != nil && l.hasWord("f-"+key) {
					x.Label = l.word("f-" + key)
				}
				break
			}
		}
		v.Wrong = append(v.Wrong, x)
	}
	return v
}

// tried is the study as a form would leave it, and the entry that the form is
// of; no list where it is of none of [documentLists]. A field that the page does
// not edit is passed over: saving says so.
func tried(rec *bench.Record, r *http.Request, in map[string]string) (s *study.Study, l *documentList, id string, err error) {
	doc, err := study.ReadDocument("study.yaml", rec.Document)
	if err != nil {
		return nil, nil, "", err
	}
	u := unitsOf(r)
	if r.FormValue("do") == "add" {
		if r.FormValue("list") == "controlled" {
			_, err := addControl(rec, doc, in)
			return nil, nil, "", err
		}
		list := r.FormValue("list")
		if l = documentLists[list]; l == nil {
			if partsOf[list] == "" {
				return nil, nil, "", nil
			}
			if _, err := addEntry(rec, doc, list, in, u, r.FormValue("question")); err != nil {
				return nil, nil, "", err
			}
			_, err := study.Parse("study.yaml", doc.Bytes())
			return nil, nil, "", err
		}
		anchor, err := l.addTo(rec, doc, in, u)
		if err != nil {
			return nil, l, "", err
		}
		id = strings.TrimPrefix(anchor, l.One+"-")
	}
	for _, p := range slices.Sorted(maps.Keys(in)) {
		if r.FormValue("do") == "add" {
			break
		}
		if _, known := valueOf(rec, p); !known || same(in[p], r.FormValue("was:"+p)) {
			continue
		}
		of, entry, f, ok := listOf(p)
		if ok {
			l, id = of, entry
		}
		if ok && l.Keeps != nil {
			if err := l.Keeps(rec, id, f.Key); err != nil {
				return nil, l, id, fault.As(err).On(p, in[p])
			}
		}
		if err := put(doc, p, in[p], u); err != nil {
			return nil, l, id, err
		}
	}
	was := map[string]string{}
	for p := range in {
		was[p] = r.FormValue("was:" + p)
	}
	if err := dropLooks(doc, rec.Study, &saved{In: in, Was: was}); err != nil {
		return nil, l, id, err
	}
	s, err = study.Parse("study.yaml", doc.Bytes())
	return s, l, id, err
}
