package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/logfile"
	"trivet/quantity"
	"trivet/trace"
)

// columnView is what stands in a form for one column of a log.
type columnView struct {
	Name, Why                    string
	ID, Place, Unit, Depth, Side string // as read, or as typed; Place "leave-out" where it is not read
	Fixed                        string // the role of a column that is no channel: time, name, value
	Bad                          string // cells of it that cannot be read
	Sensor                       string // the instrument that it comes from
}

const leaveOut = "leave-out"

var logPlaces = []string{"core", "depth", "surface", "pan", "air", "fat", "bath", "scale", "other"}

// logUnits are the units a column may be written in: those that are kept, and
// those that are kept as another.
var logUnits = []choice{{"degC", "°C"}, {"degF", "°F"}, {"K", "K"}, {"g", "g"}, {"kg", "kg"}, {"oz", "oz"}, {"lb", "lb"}, {"pct", "%"}, {"W", "W"}, {"", "–"}}

var timeForms = []logfile.TimeForm{logfile.RFC3339, logfile.LocalYMD, logfile.LocalDMY, logfile.LocalMDY, logfile.Clock, logfile.ElapsedHMS, logfile.ElapsedMS,
	logfile.Seconds, logfile.Milliseconds, logfile.Microseconds, logfile.Minutes, logfile.Hours, logfile.DayFraction, logfile.UnixS, logfile.UnixMS, logfile.UnixUS, logfile.SerialDays}

// keptMap is a saved column map.
type keptMap struct {
	*logfile.Map
	file string
}

// savedMaps are the column maps beside the notebook: those that "trivet load"
// takes as well. One that cannot be read is told in a note.
func (d *Desk) savedMaps() (maps []keptMap, notes []string) {
	if d.opt.Maps == "" {
		return nil, nil
	}
	names, err := filepath.Glob(filepath.Join(d.opt.Maps, "*.map.yaml"))
	if err != nil {
		return nil, nil
	}
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			continue
		}
		m, err := logfile.ReadMap(bytes.NewReader(b))
		if err != nil {
			notes = append(notes, say("map-unreadable", filepath.Base(name), sentenceOf(d.s.publicFault(err).Message)))
			continue
		}
		maps = append(maps, keptMap{m, name})
	}
	return maps, notes
}

// mapFor is the saved map that fits a log.
func mapFor(maps []keptMap, g *logfile.Guess) (keptMap, bool) {
	i := slices.IndexFunc(maps, func(m keptMap) bool { return m.Fingerprint == g.Fingerprint })
	if i < 0 {
		return keptMap{}, false
	}
	return maps[i], true
}

var safeName = regexp.MustCompile(`[^a-z0-9]+`)

// keepMap saves a column map for later logs of the same shape, in place of one
// that fits the same.
func (d *Desk) keepMap(m *logfile.Map, logName string) error {
	if d.opt.Maps == "" {
		return nil
	}
	bad := func(err error) error {
		return fault.New("map-write", "%s", say("map-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	var b bytes.Buffer
	if err := m.Write(&b); err != nil {
		return err
	}
	maps, _ := d.savedMaps()
	file := ""
	for _, k := range maps {
		if k.Fingerprint == m.Fingerprint {
			file = k.file
		}
	}
	if file == "" {
		sum := sha256.Sum256([]byte(m.Fingerprint))
		name := strings.Trim(safeName.ReplaceAllString(strings.ToLower(strings.TrimSuffix(logName, filepath.Ext(logName))), "-"), "-")
		if len(name) > 40 {
			name = strings.Trim(name[:40], "-")
		}
		file = filepath.Join(d.opt.Maps, strings.Trim(name+"-"+hex.EncodeToString(sum[:3]), "-")+".map.yaml")
	}
	if err := os.MkdirAll(d.opt.Maps, 0o755); err != nil {
		return bad(err)
	}
	tmp, err := os.CreateTemp(d.opt.Maps, "arriving-*")
	if err != nil {
		return bad(err)
	}
	defer os.Remove(tmp.Name())
	if _, err := tmp.Write(b.Bytes()); err != nil {
		tmp.Close()
		return bad(err)
	}
	if err := tmp.Close(); err != nil {
		return bad(err)
	}
	if err := os.Rename(tmp.Name(), file); err != nil {
		return bad(err)
	}
	return nil
}

// mappable are the columns of a log that a person may say something of.
func mappable(g *logfile.Guess) []logfile.ColumnGuess {
	if g.Shape == logfile.Long {
		return g.Channels
	}
	return g.Columns
}

// writtenUnit is the unit a channel is written in.
func writtenUnit(c logfile.MapChannel) string {
	if c.Written != "" {
		return c.Written
	}
	return string(c.Unit)
}

// columnViews show how a log is read, column by column.
func columnViews(g *logfile.Guess, m *logfile.Map, in map[string]string, u units, bad map[string]map[logfile.ProblemKind]int) []columnView {
	var out []columnView
	if g.Shape == logfile.Long {
		for _, c := range g.Columns {
			out = append(out, columnView{Name: c.Name, Why: c.Why, Fixed: say("role-" + string(c.Role))})
		}
	}
	for _, c := range mappable(g) {
		v := columnView{Name: c.Name, Why: unitSigns.Replace(c.Why), Place: leaveOut, ID: c.Channel.ID, Unit: string(c.Channel.Unit)}
		if !c.Sure && v.Why != "" {
			v.Why = say("a-guess") + " " + v.Why
		}
		if g.Shape == logfile.Wide && (c.Name == m.Time.Column || c.Name == m.Time.Clock) {
			v.Fixed = say("role-time")
			if c.Name == m.Time.Clock {
				v.Fixed = say("role-clock")
			}
		}
		if i := slices.IndexFunc(m.Channels, func(x logfile.MapChannel) bool { return x.Column == c.Name }); i >= 0 {
			x := m.Channels[i]
			v.ID, v.Place, v.Unit, v.Side, v.Sensor = x.ID, string(x.Place), writtenUnit(x), x.Side, x.Sensor
			if x.DepthM > 0 {
				v.Depth = u.length(x.DepthM)
			}
		}
		for key, field := range map[string]*string{"id:": &v.ID, "place:": &v.Place, "unit:": &v.Unit, "depth:": &v.Depth, "side:": &v.Side, "sensor:": &v.Sensor} {
			if typed, ok := in[key+c.Name]; ok {
				*field = typed
			}
		}
		n := 0
		for _, k := range bad[c.Name] {
			n += k
		}
		if n > 0 {
			v.Bad = count(n, "row", "rows")
		}
		out = append(out, v)
	}
	return out
}

// correctedMap is how a log is to be read: base, with what a form says of its
// columns and its time. A form that says nothing gives base again.
func correctedMap(r *http.Request, g *logfile.Guess, base *logfile.Map, u units) (*logfile.Map, error) {
	m := *base
	m.Channels = nil
	get := func(key, was string) string {
		if r.PostForm.Has(key) {
			return strings.TrimSpace(r.PostFormValue(key))
		}
		return was
	}
	m.Time.Column = get("time-column", m.Time.Column)
	m.Time.Form = logfile.TimeForm(get("time-form", string(m.Time.Form)))
	m.Time.Offset = get("time-offset", m.Time.Offset)
	if order := logfile.TimeForm(get("date-order", "")); dateForm(order) && dateForm(m.Time.Form) {
		m.Time.Form = order
	}
	if !slices.ContainsFunc(g.Columns, func(c logfile.ColumnGuess) bool { return c.Name == m.Time.Column }) {
		return nil, fault.New("map-field", "%s", say("map-time")).On("time-column", m.Time.Column).WithFix("%s", say("map-time-fix"))
	}
	if m.Time.Column == m.Time.Clock || !m.Time.Form.Local() {
		m.Time.Clock = ""
	}
	for _, c := range mappable(g) {
		if g.Shape == logfile.Wide && (c.Name == m.Time.Column || c.Name == m.Time.Clock) {
			continue
		}
		var x logfile.MapChannel
		place := leaveOut
		if i := slices.IndexFunc(base.Channels, func(x logfile.MapChannel) bool { return x.Column == c.Name }); i >= 0 {
			x = base.Channels[i]
			place = string(x.Place)
		} else {
			x = logfile.MapChannel{Column: c.Name, Channel: c.Channel}
			if x.ID == "" {
				x.ID = c.Name
			}
			x.SourceName = c.Name
		}
		if place = get("place:"+c.Name, place); place == leaveOut {
			continue
		}
		unit := get("unit:"+c.Name, writtenUnit(x))
		x.Place, x.ID, x.Written = trace.Place(place), get("id:"+c.Name, x.ID), ""
		switch unit {
		case "kg":
			x.Unit, x.Written = trace.Gram, "kg"
		case "lb":
			x.Unit, x.Written = trace.Ounce, "lb"
		default:
			x.Unit = trace.Unit(unit)
		}
		depth := get("depth:"+c.Name, "")
		switch {
		case x.Place != trace.Depth:
			x.DepthM = 0
		case depth != "":
			m, err := typedLength(depth, u)
			if err != nil {
				return nil, err.On(c.Name, depth)
			}
			x.DepthM = m
		}
		x.Sensor = get("sensor:"+c.Name, x.Sensor)
		if x.Side = get("side:"+c.Name, x.Side); x.Place != trace.Surface {
			x.Side = ""
		}
		m.Channels = append(m.Channels, x)
	}
	// Reading the map back checks it as "trivet load" does.
	var b bytes.Buffer
	if err := m.Write(&b); err != nil {
		return nil, err
	}
	return logfile.ReadMap(&b)
}

// typedLength reads a length in any unit, a bare number in the person's.
func typedLength(text string, u units) (float64, *fault.Error) {
	if bareNumber.MatchString(text) {
		text += " " + u.lengthUnit()
	}
	l, err := quantity.ParseLength(text)
	if err != nil {
		if f := fault.As(err); f != nil {
			return 0, f
		}
		return 0, fault.New("length", "%s", say("map-depth")).Wrap(err)
	}
	return l.M(), nil
}

// unitSigns write units as people do.
var unitSigns = strings.NewReplacer("degC", "°C", "degF", "°F")

var bareNumber = regexp.MustCompile(`^[0-9.,]+$`)

// mostDry is the most bytes of a log that is read to its end before anybody
// asks to load it.
const mostDry = 64 << 20

// dryRun reads a log to its end by a map and keeps nothing of it.
func (d *Desk) dryRun(file string, bytesInFile int64, m *logfile.Map) (*logfile.Log, error) {
	if bytesInFile > mostDry {
		return nil, nil
	}
	var b bytes.Buffer
	if err := m.Write(&b); err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b.Bytes())
	key := filepath.Base(file) + hex.EncodeToString(sum[:8])
	d.mu.Lock()
	known, ok := d.dry[key]
	d.mu.Unlock()
	if ok {
		return known, nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	defer f.Close()
	log, err := logfile.Load(f, logfile.LoadOptions{Map: m, Sink: logfile.Discard})
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.dry == nil || len(d.dry) > maxStaged {
		d.dry = map[string]*logfile.Log{}
	}
	d.dry[key] = log
	return log, nil
}

// accountNotes say what of a log could not be read, and where.
func accountNotes(a *logfile.Account) []string {
	out := []string{say("dry-rows", a.Kept, a.Rows)}
	if a.Empty > 0 {
		out = append(out, say("dry-empty", count(a.Empty, "cell", "cells")))
	}
	const most = 12
	for i, p := range a.Problems {
		if i == most {
			out = append(out, say("and-more", len(a.Problems)-most+a.Unlisted))
			break
		}
		out = append(out, sentenceOf(p.String()))
	}
	for i, g := range a.Gaps {
		if i == most {
			out = append(out, say("and-more", len(a.Gaps)-most))
			break
		}
		out = append(out, sentenceOf(g.String()))
	}
	for _, n := range a.Notes {
		out = append(out, sentenceOf(n.Text))
	}
	return out
}

// emptyShare tells of channels that hold next to nothing.
func emptyShare(log *logfile.Log) []string {
	var out []string
	for i, t := range log.Traces {
		if i < len(log.Extents) && log.Extents[i].Present == 0 {
			out = append(out, fmt.Sprintf("%s: %s", t.Channel.ID, say("dry-nothing")))
		}
	}
	return out
}
