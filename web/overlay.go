package web

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/figure"
	"trivet/study"
	"trivet/trace"
)

// The traces of all cooks of a study lie over one another in step at heat on.
// Whatever their number and length, about mostOverlaid values are sent: of
// each line the smallest and the largest of each stretch, and over them the
// median and quartiles of each treatment. The page asks for a shorter stretch
// as somebody zooms in.

const (
	mostOverlaid  = 120_000
	leastOverlaid = 160  // times, however many cooks
	finestOverlay = 1200 // times, however few
	fewestInBand  = 4    // cooks of which quartiles are drawn
)

// overlay is one channel of all cooks.
type overlay struct {
	Channel  string   `json:"channel"`
	Channels []string `json:"channels"`
	Unit     string   `json:"unit"`
	// Finer says that a stretch of it would show more.
	Finer  bool           `json:"finer"`
	AtS    plotValues     `json:"at_s"`
	Groups []overlayGroup `json:"groups"`
	Lines  []overlayLine  `json:"lines"`
	// LeftOut is how many pilots and void cooks have traces too.
	LeftOut int `json:"left_out"`
}

// overlayGroup is what the cooks of one treatment have in common.
type overlayGroup struct {
	Name  string     `json:"name"`
	Cooks int        `json:"cooks"`
	Lo    plotValues `json:"lo"` // lower quartile
	Mid   plotValues `json:"mid"`
	Hi    plotValues `json:"hi"`
}

type overlayLine struct {
	Cook   string     `json:"cook"`
	Name   string     `json:"name,omitempty"` // of the channel, where a cook has several of the kind
	Group  int        `json:"group"`
	Values plotValues `json:"values"`
}

// channelWords is what a kind of channel is called, in a person's units.
func (u units) channelWords(key string) string {
	place, rest, _ := strings.Cut(key, " ")
	switch {
	case rest == "":
		return say("place-" + place)
	case place == string(trace.Depth):
		return say("overlay-depth", u.own(rest))
	}
	return say("overlay-surface", rest)
}

// channelKey names what channels of several cooks have in common: the place,
// and the side or the depth.
func channelKey(c trace.Channel) string {
	switch {
	case c.Place == trace.Depth && c.DepthM > 0:
		return fmt.Sprintf("depth %.3g mm", c.DepthM*1000)
	case c.Place == trace.Surface && c.Side != "":
		return "surface " + c.Side
	}
	return string(c.Place)
}

// channelRank puts the core first.
func channelRank(key string) int {
	places := []trace.Place{trace.Core, trace.Depth, trace.Surface, trace.Pan, trace.Air, trace.Fat, trace.Bath}
	first, _, _ := strings.Cut(key, " ")
	if i := slices.Index(places, trace.Place(first)); i >= 0 {
		return i
	}
	return len(places)
}

// anyTraces tells whether a study may have traces to lay over one another.
func anyTraces(rec *bench.Record) bool {
	return slices.ContainsFunc(rec.Cooks, func(c study.Cook) bool { return c.ZeroSet || len(c.Logs) > 0 })
}

// overlayOf reads and thins one channel of all cooks; "" is the core, or what
// there is if no cook has one.
func (d *Desk) overlayOf(ctx context.Context, rec *bench.Record, channel string, s bench.Stretch, u units) (*overlay, error) {
	times := min(max(mostOverlaid/max(len(rec.Cooks), 1), leastOverlaid), finestOverlay)
	s.Columns = times / 2
	asked := channel
	if channel == "" {
		asked = string(trace.Core)
	}
	all, keys, err := d.readOverlay(ctx, rec, asked, s)
	if err != nil {
		return nil, err
	}
	// A depth is asked for as it is shown: in the reader's units.
	if i := slices.IndexFunc(keys, func(k string) bool { return u.channelWords(k) == channel }); i >= 0 && keys[i] != channel {
		asked = keys[i]
		if all, _, err = d.readOverlay(ctx, rec, asked, s); err != nil {
			return nil, err
		}
	}
	if !slices.Contains(keys, asked) && channel == "" && len(keys) > 0 {
		asked = keys[0]
		if all, _, err = d.readOverlay(ctx, rec, asked, s); err != nil {
			return nil, err
		}
	}
	if channel != "" && !slices.Contains(keys, asked) {
		return nil, fault.New("channel-none", "%s", say("channel-none")).On("channel", channel).WithFix("%s", say("channel-none-fix"))
	}
	out := &overlay{Channel: u.channelWords(asked), Channels: keys, Unit: u.degrees(), AtS: plotValues{}, Groups: []overlayGroup{}, Lines: []overlayLine{}}
	out.Channels = []string{}
	for _, k := range keys {
		out.Channels = append(out.Channels, u.channelWords(k))
	}
	words := answer.Words{Study: rec.Study}
	group := map[string]int{}
	together := early(rec) && !looked(rec)
	if together {
		out.Groups = append(out.Groups, overlayGroup{Name: say("overlay-all")})
	} else {
		for _, t := range rec.Study.Treatments {
			group[t.ID] = len(out.Groups)
			out.Groups = append(out.Groups, overlayGroup{Name: words.Treatment(t.ID)})
		}
	}
	var drawn []*bench.DrawnTrace
	for i := range all {
		c := &rec.Cooks[i]
		if c.Role == study.Pilot || c.Role == study.Void {
			if len(all[i]) > 0 {
				out.LeftOut++
			}
			all[i] = nil
			continue
		}
		for k := range all[i] {
			if all[i][k].Len() > 0 {
				drawn = append(drawn, &all[i][k])
			}
		}
	}
	g, ok := gridOf(drawn, s, times)
	if !ok {
		return out, nil
	}
	out.Finer = g.extremes
	for _, at := range g.times() {
		out.AtS = append(out.AtS, math.Round(at*1000)/1000)
	}
	level := make([][][]float64, len(out.Groups)) // of each line
	for i := range all {
		for k := range all[i] {
			t := &all[i][k]
			if t.Len() == 0 {
				continue
			}
			v := g.values(&t.Trace, t.ZeroUS)
			for j := range v {
				v[j], _ = u.shown(v[j], "°C")
				v[j] = math.Round(v[j]*100) / 100
			}
			line := overlayLine{Cook: rec.Cooks[i].Label, Group: group[rec.Cooks[i].Treatment], Values: v}
			if len(all[i]) > 1 {
				line.Name = t.Channel.ID
			}
			out.Lines = append(out.Lines, line)
			if k == 0 {
				level[line.Group] = append(level[line.Group], g.levels(v))
			}
		}
	}
	for i := range out.Groups {
		x := &out.Groups[i]
		x.Cooks = len(level[i])
		x.Lo, x.Mid, x.Hi = quartiles(level[i], g.n)
	}
	return out, nil
}

// readOverlay reads one channel of every cook, thinned, and the names of all
// channels there are.
func (d *Desk) readOverlay(ctx context.Context, rec *bench.Record, key string, s bench.Stretch) (all [][]bench.DrawnTrace, keys []string, err error) {
	all = make([][]bench.DrawnTrace, len(rec.Cooks))
	var mu sync.Mutex
	seen := map[string]bool{}
	s.Want = func(c trace.Channel) bool {
		if !c.IsTemperature() {
			return false
		}
		k := channelKey(c)
		mu.Lock()
		seen[k] = true
		mu.Unlock()
		return k == key
	}
	work, ctx := errgroup.WithContext(ctx)
	work.SetLimit(runtime.GOMAXPROCS(0))
	for i := range rec.Cooks {
		if c := &rec.Cooks[i]; !c.ZeroSet && len(c.Logs) == 0 {
			continue
		}
		work.Go(func() error {
			traces, _, err := bench.DrawnTraces(ctx, d.nb, rec.Study.ID, rec.Cooks[i], s)
			for k := range traces {
				// What is held of a cook while the others are read is little.
				if t := &traces[k]; t.Len() > 16*s.Columns {
					t.Trace = *t.Thin(t.Len() / (8 * s.Columns))
				}
			}
			all[i] = traces
			return err
		})
	}
	if err := work.Wait(); err != nil {
		return nil, nil, err
	}
	for k := range seen {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(cmp.Compare(channelRank(a), channelRank(b)), strings.Compare(a, b))
	})
	return all, keys, nil
}

// levels are the values of a line for statistics: between the smallest and
// the largest of each stretch.
func (g grid) levels(v []float64) []float64 {
	if !g.extremes {
		return v
	}
	out := make([]float64, len(v))
	for i := 0; i+1 < len(v); i += 2 {
		out[i] = (v[i] + v[i+1]) / 2
	}
	for i := 1; i < len(v); i += 2 {
		out[i] = out[i-1]
		if i+1 < len(v) {
			out[i] = (out[i-1] + out[i+1]) / 2
		}
	}
	return out
}

// quartiles are the lower quartile, the median and the upper one of several
// lines at each of n times: of those that have a value, where at least half
// of all have; the quartiles where that are fewestInBand. They stand between
// the values as in Hyndman R.J. and Fan Y., "Sample quantiles in statistical
// packages", The American Statistician 50(4), 1996, definition 7.
func quartiles(lines [][]float64, n int) (lo, mid, hi plotValues) {
	lo, mid, hi = make(plotValues, n), make(plotValues, n), make(plotValues, n)
	at := make([]float64, 0, len(lines))
	for i := range n {
		at = at[:0]
		for _, l := range lines {
			if finite(l[i]) {
				at = append(at, l[i])
			}
		}
		lo[i], mid[i], hi[i] = math.NaN(), math.NaN(), math.NaN()
		if len(at) == 0 || 2*len(at) < len(lines) {
			continue
		}
		slices.Sort(at)
		q := func(p float64) float64 {
			h := p * float64(len(at)-1)
			k := int(h)
			v := at[k]
			if k+1 < len(at) {
				v += (h - float64(k)) * (at[k+1] - at[k])
			}
			return math.Round(v*100) / 100
		}
		mid[i] = q(0.5)
		if len(at) >= fewestInBand {
			lo[i], hi[i] = q(0.25), q(0.75)
		}
	}
	return lo, mid, hi
}

// figure draws an overlay on paper.
func (o *overlay) figure(title string, u units) figure.Traces {
	f := figure.Traces{Head: figure.Head{Title: title}, Measure: figure.Measure{Name: "temperature", Kind: figure.Temperature, Degrees: degreesOf(u.Fahrenheit)}}
	celsius := func(v plotValues) []float64 {
		out := slices.Clone([]float64(v))
		if u.Fahrenheit { // the figure writes degrees itself
			for i := range out {
				out[i] = (out[i] - 32) / 1.8
			}
		}
		return out
	}
	for i, g := range o.Groups {
		f.Treatments = append(f.Treatments, g.Name)
		if g.Cooks > 1 {
			f.Bands = append(f.Bands, figure.TraceBand{Channel: o.Channel, Treatment: i, AtS: o.AtS, Lo: celsius(g.Lo), Mid: celsius(g.Mid), Hi: celsius(g.Hi), What: say("overlay-band")})
		}
	}
	for _, l := range o.Lines {
		f.Lines = append(f.Lines, figure.TraceLine{Cook: l.Cook, Channel: o.Channel, Treatment: l.Group, AtS: o.AtS, Values: celsius(l.Values)})
	}
	return f
}

// overlayName is the name of an overlay's files.
func overlayName(channel string) string {
	return "traces-" + strings.ReplaceAll(strings.ReplaceAll(channel, " ", "-"), ".", "_")
}

func overlayTitle(channel string) string {
	return answer.Capital(say("overlay-figure", channel))
}

// overlayFigure is the figure of that name, with false if it names none.
func (d *Desk) overlayFigure(r *http.Request, rec *bench.Record, name string) (figure.Figure, bool, error) {
	if name != "traces" && !strings.HasPrefix(name, "traces-") || !anyTraces(rec) {
		return nil, false, nil
	}
	// Which channels there are is known once they are read.
	u := unitsOf(r)
	o, err := d.overlayOf(r.Context(), rec, "", bench.Stretch{}, u)
	if err != nil {
		return nil, false, err
	}
	if name == "traces" && len(o.Lines) > 0 { // of the channel shown first
		return o.figure(overlayTitle(o.Channel), u), true, nil
	}
	i := slices.IndexFunc(o.Channels, func(key string) bool { return overlayName(key) == name })
	if i < 0 {
		return nil, false, nil
	}
	if o.Channels[i] != o.Channel {
		if o, err = d.overlayOf(r.Context(), rec, o.Channels[i], bench.Stretch{}, u); err != nil {
			return nil, false, err
		}
	}
	return o.figure(overlayTitle(o.Channel), u), true, nil
}

// plotPlace is where the script of the plot and its style are; the page
// fetches them only where there is something to draw.
type plotPlace struct{ Script, Sheet string }

func (d *Desk) plotPlace() plotPlace {
	return plotPlace{d.ui.path("overlay.js"), d.ui.path("overlay.css")}
}

type overlayView struct {
	ID, Title string
	Plot      plotPlace
	Channel   string
	Channels  []string
	LeftOut   string
	Together  bool
	Picture   *pictureView
}

// overlayPage sends the traces of all cooks: to a script what the plot draws,
// else a page with the plot, the figure, its table and its files.
func (d *Desk) overlayPage(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	now, err := d.versionOf(r.Context(), id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	w.Header().Add("Vary", "Accept")
	channel, u := r.FormValue("channel"), unitsOf(r)
	s, err := stretchAsked(r, 0)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	if wantsJSON(r) && s.ToUS <= s.FromUS {
		all, err := d.overlaySheet(r.Context(), id, now, channel, u)
		if err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
		sendJSON(w, r, all)
		d.pages.fetched(id)
		return
	}
	d.opening(w, r, func(h *bench.Head) (frame, template.HTML) {
		return overlayFrame(h.Study), d.title(say("overlay-h"))
	}, func(w http.ResponseWriter) { d.showOverlay(w, r, channel, s) })
}

func overlayFrame(s *study.Study) frame {
	return frame{Title: say("overlay-title", s.Title), Invented: s.Invented, Script: "study", Study: s.ID, StudyName: s.Title}
}

func (d *Desk) showOverlay(w http.ResponseWriter, r *http.Request, channel string, s bench.Stretch) {
	id, u := r.PathValue("id"), unitsOf(r)
	rec, err := d.nb.Record(r.Context(), id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	o, err := d.overlayOf(r.Context(), rec, channel, s, u)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	if wantsJSON(r) { // a stretch is of one person's interest and not kept
		reply(w, http.StatusOK, o)
		return
	}
	v := &overlayView{ID: id, Plot: d.plotPlace(), Title: rec.Study.Title, Channel: o.Channel, Channels: o.Channels, Together: early(rec) && !looked(rec)}
	if o.LeftOut > 0 {
		v.LeftOut = say("overlay-left-out", count(o.LeftOut, "record", "records"))
	}
	if len(o.Lines) > 0 {
		if v.Picture, err = d.picture(id, overlayName(o.Channel), o.figure(overlayTitle(o.Channel), u), rec.Study.Invented); err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
	}
	d.render(w, r, http.StatusOK, "overlaypage", overlayFrame(rec.Study), v)
}

// overlaySheet is all of one channel, kept as pages are.
func (d *Desk) overlaySheet(ctx context.Context, id string, now bench.Version, channel string, u units) (*sheet, error) {
	key := fmt.Sprint("traces ", channel, " ", id, " ", now.Revision, now.Updated.UnixNano(), u)
	if have := d.pages.get(key); have != nil {
		return have, nil
	}
	d.pages.begin()
	have, err, _ := d.pages.reading.Do(key, func() (any, error) {
		// Whoever asked first may leave; the others wait for the same.
		ctx := d.pages.life
		rec, err := d.read(ctx, id, now)
		if err != nil {
			return nil, err
		}
		o, err := d.overlayOf(ctx, rec, channel, bench.Stretch{}, u)
		if err != nil {
			return nil, err
		}
		b, err := json.Marshal(o)
		if err != nil {
			return nil, err
		}
		have := newSheet(b)
		d.pages.put(key, have)
		return have, nil
	})
	if err != nil {
		return nil, err
	}
	return have.(*sheet), nil
}

// plotFirst reads what the plot of a study's page asks for at once, before its
// cooks are measured. Where that will keep the machine busy for seconds it
// waits until the plot has been fetched and drawn, or nobody fetches it.
func (d *Desk) plotFirst(ctx context.Context, rec *bench.Record, now bench.Version, u units) {
	id := rec.Study.ID
	if _, err := d.overlaySheet(ctx, id, now, "", u); err != nil {
		return // told to whoever asks for it
	}
	if len(rec.Cooks) < manyCooks || d.answerKept(rec) {
		return
	}
	fetched := d.pages.fetch(id)
	select {
	case <-fetched:
		select {
		case <-time.After(drawTime):
		case <-ctx.Done():
		}
	case <-time.After(fetchTime):
	case <-ctx.Done():
	}
}

const (
	manyCooks = 60
	fetchTime = 1500 * time.Millisecond
	drawTime  = 300 * time.Millisecond
)

// fetch is closed when the traces of a study are next fetched.
func (p *setPages) fetch(id string) <-chan struct{} {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fetches == nil {
		p.fetches = map[string]chan struct{}{}
	}
	if p.fetches[id] == nil {
		p.fetches[id] = make(chan struct{})
	}
	return p.fetches[id]
}

func (p *setPages) fetched(id string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if c := p.fetches[id]; c != nil {
		close(c)
		delete(p.fetches, id)
	}
}

// sendJSON writes data that is set as a page is.
func sendJSON(w http.ResponseWriter, r *http.Request, s *sheet) {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Add("Vary", "Accept-Encoding")
	b := s.html
	if acceptsGzip(r) {
		h.Set("Content-Encoding", "gzip")
		b = s.packed
	}
	h.Set("Content-Length", fmt.Sprint(len(b)))
	w.Write(b)
}
