package web

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// Which instrument of the register a channel comes from is said when its log
// is loaded, or afterwards on the page of the cook.

// channelRow is one channel in that form.
type channelRow struct {
	N       int
	Name    string
	Is, Was string
	Options []choice
}

// mostMoved is the most samples of a cook whose channels are written anew in
// one go; a longer log is loaded again.
const mostMoved = 20_000_000

// channelRows are the rows of the form; none where the study lists no
// instruments.
func channelRows(s *study.Study, traces []trace.Trace, at saved) []channelRow {
	if len(s.Instruments) == 0 {
		return nil
	}
	channels, sensors := bench.SensorsOf(traces)
	var out []channelRow
	for i, id := range channels {
		row := channelRow{N: i, Name: id, Is: sensors[id], Was: sensors[id], Options: []choice{{"", say("channel-none")}}}
		for _, x := range s.Instruments {
			name := x.ID
			if x.What != "" {
				name += ": " + x.What
			}
			row.Options = append(row.Options, choice{x.ID, name})
		}
		if typed, ok := at.In["sensor:"+id]; ok && at.Form == "channels" {
			row.Is = typed
		}
		for _, known := range []string{row.Was, row.Is} {
			if !slices.ContainsFunc(row.Options, func(c choice) bool { return c.Value == known }) {
				row.Options = append(row.Options, choice{known, known})
			}
		}
		out = append(out, row)
	}
	return out
}

// saveChannels says which instruments a cook's channels come from.
func (d *Desk) saveChannels(w http.ResponseWriter, r *http.Request) {
	defer d.writing(r.PathValue("id"))()
	rec, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	if err := d.changeChannels(r, rec, c); err != nil {
		f := d.s.publicFault(err)
		at := saved{Error: f, Form: "channels", In: map[string]string{}}
		for key := range r.PostForm {
			at.In[key] = r.PostFormValue(key)
		}
		d.showCook(w, r, statusOf(f), rec, c, at)
		return
	}
	http.Redirect(w, r, "/studies/"+rec.Study.ID+"/cooks/"+c.Label+"#channels-part", http.StatusSeeOther)
}

func (d *Desk) changeChannels(r *http.Request, rec *bench.Record, c *study.Cook) error {
	if err := r.ParseForm(); err != nil {
		return fault.New("form-bad", "%s", say("form-bad")).Wrap(err)
	}
	if counts, ok := d.nb.(interface {
		Samples(ctx context.Context, studyID, cookID string) (int, error)
	}); ok {
		if n, err := counts.Samples(r.Context(), rec.Study.ID, c.ID); err == nil && n > mostMoved {
			return fault.New("channels-long", "%s", say("channels-long")).WithFix("%s", say("channels-long-fix"))
		}
	}
	traces, err := d.nb.Traces(r.Context(), rec.Study.ID, c.ID)
	if err != nil {
		return err
	}
	_, now := bench.SensorsOf(traces)
	asked := map[string]string{}
	for key := range r.PostForm {
		id, ok := strings.CutPrefix(key, "sensor:")
		if !ok {
			continue
		}
		typed, was := r.PostFormValue(key), r.PostFormValue("was:"+id)
		switch {
		case typed == was || typed == now[id]:
		case was != now[id]:
			return fault.New("edited-meanwhile", "%s", say("entry-meanwhile", orNothing(now[id]))).On(id, typed).WithFix("%s", say("entry-meanwhile-fix"))
		default:
			asked[id] = typed
		}
	}
	return bench.SetSensors(r.Context(), d.nb, rec, *c, asked, d.s.opt.Now())
}
