package logfile

import (
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"

	"trivet/fault"
	"trivet/trace"
)

// MapFormat is the version of the column map read and written here.
const MapFormat = 1

// Map says what the columns of a log are: a guess that was looked at and
// saved, to be used for later files of the same shape.
type Map struct {
	Format      int    `yaml:"format"`
	Fingerprint string `yaml:"fingerprint"` // of the files it fits
	Delimiter   string `yaml:"delimiter"`
	Decimal     string `yaml:"decimal"`
	// Sheet and Range say what of a workbook is read; see [Options].
	Sheet    string       `yaml:"sheet,omitempty"`
	Range    string       `yaml:"range,omitempty"`
	Shape    Shape        `yaml:"shape"`
	Time     MapTime      `yaml:"time"`
	Long     *MapLong     `yaml:"long,omitempty"`
	Channels []MapChannel `yaml:"channels"`
}

// MapTime says how the log tells time.
type MapTime struct {
	Column string   `yaml:"column"`
	Clock  string   `yaml:"clock,omitempty"` // column of the time of day beside dates
	Form   TimeForm `yaml:"form"`
	// Offset is the local clock's offset from UTC, such as "-04:00"; "" is UTC.
	Offset string `yaml:"offset,omitempty"`
	// Spread shares out rows that have one time stamp evenly up to the next
	// stamp, for logs whose stamps are coarser than their rate.
	Spread bool `yaml:"spread,omitempty"`
}

// MapLong names the columns of a log with a row for each channel and time.
type MapLong struct {
	Name  string `yaml:"name"`
	Value string `yaml:"value"`
	Unit  string `yaml:"unit,omitempty"`
}

// MapChannel is one channel: the column it stands in (of a long log the name
// it goes by) and what it is.
type MapChannel struct {
	Column        string `yaml:"column"`
	trace.Channel `yaml:",inline"`
	// Written is the unit in the file where it is not the channel's own: kg
	// are kept as g, lb as oz.
	Written string `yaml:"written,omitempty"`
	// Decimal is the column's decimal sign where it is another than the log's:
	// quotes allow that. [Load] tells it from the column, a [Follower] cannot.
	Decimal string `yaml:"decimal,omitempty"`
}

// Map makes a column map of the guess.
func (g *Guess) Map() *Map {
	m := &Map{
		Format: MapFormat, Fingerprint: g.Fingerprint, Delimiter: g.Layout.Delimiter, Decimal: g.Layout.Decimal,
		Sheet: g.sheet, Range: g.cells, Shape: g.Shape, Time: MapTime{Column: g.Time.Column, Clock: g.Time.Clock, Form: g.Time.Form},
	}
	from := g.Columns
	if g.Shape == Long {
		m.Long = &MapLong{}
		for _, c := range g.Columns {
			switch c.Role {
			case RoleName:
				m.Long.Name = c.Name
			case RoleValue:
				m.Long.Value = c.Name
			case RoleUnit:
				m.Long.Unit = c.Name
			}
		}
		from = g.Channels
	}
	for _, c := range from {
		if c.Role == RoleChannel {
			mc := c.channel()
			if at := slices.IndexFunc(g.Layout.Columns, func(l ColumnLayout) bool { return l.Name == c.Name }); at >= 0 && g.Shape == Wide {
				if sign := g.Layout.decimalOf(at); sign != m.Decimal[0] {
					mc.Decimal = string(sign)
				}
			}
			m.Channels = append(m.Channels, mc)
		}
	}
	return m
}

// channel is the guess as an entry of a map.
func (c ColumnGuess) channel() MapChannel {
	mc := MapChannel{Column: c.Name, Channel: c.Channel}
	switch c.Factor {
	case 1000:
		mc.Written = "kg"
	case 16:
		mc.Written = "lb"
	}
	return mc
}

// Write writes the map as YAML.
func (m *Map) Write(w io.Writer) error {
	b, err := yaml.MarshalWithOptions(m, yaml.CustomMarshaler(quoteText))
	if err != nil {
		return fault.New("map-write", "the column map cannot be written").Wrap(err)
	}
	_, err = w.Write(b)
	return err
}

var plainText = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]*$`)

// quoteText quotes text as JSON does, which YAML reads alike: the library's
// own choice loses tabs.
func quoteText(s string) ([]byte, error) {
	switch strings.ToLower(s) {
	case "true", "false", "yes", "no", "on", "off", "null", "y", "n", "nan", "inf":
	default:
		if plainText.MatchString(s) {
			return []byte(s), nil
		}
	}
	return json.Marshal(s)
}

const mostMapBytes = 1 << 20

// ReadMap reads a column map. Unknown fields are refused.
func ReadMap(r io.Reader) (*Map, error) {
	b, err := io.ReadAll(io.LimitReader(r, mostMapBytes+1))
	if err != nil {
		return nil, readFault(err)
	}
	if len(b) > mostMapBytes {
		return nil, fault.New("map-size", "a column map has at most %d bytes", mostMapBytes)
	}
	m := &Map{}
	if err := yaml.UnmarshalWithOptions(b, m, yaml.Strict()); err != nil {
		return nil, fault.New("map-yaml", "the column map cannot be read: %s", yaml.FormatError(err, false, false))
	}
	return m, m.check()
}

// check refuses a map that cannot be followed.
func (m *Map) check() error {
	bad := func(field, value, fix string) error {
		return fault.New("map-field", "the column map cannot be followed").On(field, value).WithFix("%s", fix)
	}
	switch {
	case m.Format != MapFormat:
		return bad("format", fmt.Sprint(m.Format), fmt.Sprintf("this program reads format %d", MapFormat))
	case len(m.Delimiter) != 1 || m.Delimiter == "\n" || m.Delimiter == `"`:
		return bad("delimiter", m.Delimiter, `write one character, such as "," or ";"`)
	case m.Decimal != "." && m.Decimal != "," || m.Decimal == m.Delimiter:
		return bad("decimal", m.Decimal, `write "." or ",", not the delimiter`)
	case m.Shape != Wide && m.Shape != Long:
		return bad("shape", string(m.Shape), "write wide or long")
	case m.Shape == Long && (m.Long == nil || m.Long.Name == "" || m.Long.Value == ""):
		return bad("long", "", "name the columns of the channel's name and value")
	case m.Time.Column == "":
		return bad("time.column", "", "name the column that tells the time")
	case !m.Time.Form.Known():
		return bad("time.form", string(m.Time.Form), "write a form such as rfc3339, local-dmy, h:m:s or seconds")
	case m.Time.Clock != "" && !m.Time.Form.Local():
		return bad("time.clock", m.Time.Clock, "a time of day stands beside a column of dates: local-ymd, local-dmy or local-mdy")
	case len(m.Channels) == 0:
		return bad("channels", "", "name one channel at least")
	}
	if _, err := m.Time.offsetMin(); err != nil {
		return err
	}
	ids := map[string]bool{}
	for _, c := range m.Channels {
		_, known := map[trace.Unit]bool{trace.DegC: true, trace.DegF: true, trace.Kelvin: true, trace.Gram: true, trace.Ounce: true, trace.Percent: true, trace.Watt: true, trace.NoUnit: true}[c.Unit]
		written, ok := unitsKept[cellUnit(c.Written)]
		switch {
		case c.Column == "":
			return bad("channels.column", "", "name the column of each channel")
		case c.ID == "" || ids[c.ID]:
			return bad("channels.id", c.ID, "give each channel an id of its own")
		case !known:
			return bad("channels.unit", string(c.Unit), "write degC, degF, K, g, oz, pct or W")
		case !slices.Contains([]trace.Place{trace.Core, trace.Depth, trace.Surface, trace.Pan, trace.Air, trace.Fat, trace.Bath, trace.Scale, trace.Other}, c.Place):
			return bad("channels.place", string(c.Place), "write core, depth, surface, pan, air, fat, bath, scale or other")
		case c.Decimal != "" && c.Decimal != "." && c.Decimal != ",":
			return bad("channels.decimal", c.Decimal, `write "." or ",", or leave it out where it is the log's own`)
		case c.Written != "" && (!ok || written.unit != c.Unit):
			return bad("channels.written", c.Written, "write kg beside g, or lb beside oz")
		}
		ids[c.ID] = true
	}
	return nil
}

func (t MapTime) offsetMin() (int, error) {
	if t.Offset == "" {
		return 0, nil
	}
	min, rest, ok := offset([]byte(t.Offset))
	if !ok || len(rest) > 0 {
		return 0, fault.New("map-field", "the column map cannot be followed").On("time.offset", t.Offset).WithFix(`write it as "+02:00"`)
	}
	return min, nil
}

// factor is from the written unit to the channel's.
func (c MapChannel) factor() float64 {
	if k, ok := unitsKept[cellUnit(c.Written)]; ok {
		return k.factor
	}
	return 1
}

// Match picks the map that fits the guess by its fingerprint, nil if none
// does.
func Match(maps []*Map, g *Guess) *Map {
	for _, m := range maps {
		if m.Fingerprint == g.Fingerprint {
			return m
		}
	}
	return nil
}
