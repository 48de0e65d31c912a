package bench

import (
	"io"
	"slices"

	"trivet/fault"
	"trivet/logfile"
	"trivet/study"
)

// Labels lists the cooks a log may belong to: those of the record, and the
// planned ones of its run order.
func Labels(rec *Record) []string {
	var out []string
	known := map[string]bool{}
	add := func(label string) {
		if !known[label] {
			known[label] = true
			out = append(out, label)
		}
	}
	for _, c := range rec.Cooks {
		known[c.Label] = true
		out = append(out, c.Label)
	}
	for _, s := range rec.Study.Design.RunOrder {
		add(s.Piece)
	}
	for _, c := range openSpares(rec) {
		add(c.Label)
	}
	return out
}

// AssignLog finds the cook a log belongs to: by the label that its name
// holds, else by the cook that has this very log already, else by the one
// cook without a log whose heat-on lies within the log's times.
// By says which; the error says that neither tells.
func AssignLog(rec *Record, name string, log io.Reader, opt logfile.LoadOptions) (label, by string, err error) {
	label, nameErr := logfile.Assign(name, Labels(rec))
	if nameErr == nil {
		return label, "name", nil
	}
	opt.Sink = logfile.Discard
	l, err := logfile.Load(log, opt)
	if err != nil {
		return "", "", inFile(err, name)
	}
	for _, c := range rec.Cooks { // it was loaded before
		if slices.ContainsFunc(c.Logs, func(x study.LogRef) bool { return x.SHA256 == l.SHA256 }) {
			return c.Label, "contents", nil
		}
	}
	var fits []study.Cook
	for _, c := range rec.Cooks {
		if !c.ZeroSet || len(c.Logs) > 0 {
			continue
		}
		if covers(l, c.ZeroUS) {
			fits = append(fits, c)
		}
	}
	switch len(fits) {
	case 1:
		return fits[0].Label, "time", nil
	case 0:
		return "", "", nameErr
	}
	var labels []string
	for _, c := range fits {
		labels = append(labels, c.Label)
	}
	return "", "", fault.New("assign-tie", "no label stands in the file's name, and the heat-on of several cooks lies within its times: %s", joinFew(labels, 8)).In(name).
		WithFix("put the label into the file's name, or say which cook it belongs to")
}

// covers tells whether a trace of a log with clock times runs at a moment.
func covers(l *logfile.Log, us int64) bool {
	for i, e := range l.Extents {
		if !l.Traces[i].Elapsed && e.Samples > 0 && e.FirstUS <= us && us <= e.LastUS {
			return true
		}
	}
	return false
}
