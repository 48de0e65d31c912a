package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/study"
)

// The parsed document is kept beside the document, so that reading a study
// does not read its YAML again. It is a cache: "shape" names the fields it
// was written with, and when they are no longer those of study.Study the
// document is parsed anew.

// parsedStudy is a study as JSON. Cook files hold free values, whose types
// JSON alone would lose: see [freeValue].
type parsedStudy struct {
	Study *study.Study
	Specs []freeValue // by treatment
}

func encodeStudy(s *study.Study) ([]byte, error) {
	c := *s
	c.Treatments = append([]study.Treatment(nil), s.Treatments...)
	p := parsedStudy{Study: &c}
	for i := range c.Treatments {
		if c.Treatments[i].Spec != nil {
			p.Specs = append(p.Specs, freeValue{c.Treatments[i].Spec})
		} else {
			p.Specs = append(p.Specs, freeValue{})
		}
		c.Treatments[i].Spec = nil
	}
	b, err := json.Marshal(p)
	if err != nil {
		return nil, fault.New("study-value", "the study holds a value that cannot be stored").Wrap(err)
	}
	return b, nil
}

func decodeStudy(b []byte) (*study.Study, error) {
	var p parsedStudy
	if err := json.Unmarshal(b, &p); err != nil {
		return nil, fault.New("notebook-corrupt", "a stored study cannot be read").Wrap(err)
	}
	for i := range p.Study.Treatments {
		if i < len(p.Specs) {
			p.Study.Treatments[i].Spec, _ = p.Specs[i].value.(map[string]any)
		}
	}
	return p.Study, nil
}

// decodeHead is decodeStudy without pieces and run order.
func decodeHead(b []byte) (*study.Study, error) {
	var p struct {
		Study struct {
			study.Study
			Pieces, Cooks json.RawMessage
			Design        struct {
				study.Design
				RunOrder json.RawMessage
			}
		}
		Specs []freeValue
	}
	if err := json.Unmarshal(b, &p); err != nil {
		return nil, fault.New("notebook-corrupt", "a stored study cannot be read").Wrap(err)
	}
	s := &p.Study.Study
	s.Design = p.Study.Design.Design
	for i := range s.Treatments {
		if i < len(p.Specs) {
			s.Treatments[i].Spec, _ = p.Specs[i].value.(map[string]any)
		}
	}
	return s, nil
}

// studyShape names the fields of study.Study and all it holds.
var studyShape = func() string {
	var b strings.Builder
	describeType(&b, reflect.TypeFor[study.Study](), map[reflect.Type]bool{})
	sum := sha256.Sum256([]byte(b.String()))
	return hex.EncodeToString(sum[:8])
}()

func describeType(b *strings.Builder, t reflect.Type, seen map[reflect.Type]bool) {
	b.WriteString(t.String())
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
		describeType(b, t.Elem(), seen)
	case reflect.Struct:
		if seen[t] {
			return
		}
		seen[t] = true
		for i := range t.NumField() {
			b.WriteString("{" + t.Field(i).Name + " ")
			describeType(b, t.Field(i).Type, seen)
			b.WriteString("}")
		}
	}
}

// freeValue is a value of a cook file: nil, bool, string, an integer, a
// float, or lists and maps of them. Integers are written without a point and
// floats with one, so that each comes back as what it was. Integers come back
// with the type a YAML reader gives them: int64 when negative, uint64
// otherwise.
type freeValue struct{ value any }

func (f freeValue) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	err := writeFree(&b, f.value)
	return b.Bytes(), err
}

func writeFree(b *bytes.Buffer, v any) error {
	switch v := v.(type) {
	case float64:
		if v-v != 0 {
			return fmt.Errorf("a number of a cook file is not finite")
		}
		s := strconv.FormatFloat(v, 'g', -1, 64)
		if !strings.ContainsAny(s, ".e") {
			s += ".0"
		}
		b.WriteString(s)
	case map[string]any:
		// encoding/json sorts the keys; values are replaced by their text.
		m := make(map[string]freeValue, len(v))
		for k, x := range v {
			m[k] = freeValue{x}
		}
		j, err := json.Marshal(m)
		if err != nil {
			return err
		}
		b.Write(j)
	case []any:
		b.WriteByte('[')
		for i, x := range v {
			if i > 0 {
				b.WriteByte(',')
			}
			if err := writeFree(b, x); err != nil {
				return err
			}
		}
		b.WriteByte(']')
	case nil, bool, string, int, int64, uint64:
		j, err := json.Marshal(v)
		if err != nil {
			return err
		}
		b.Write(j)
	default:
		return fmt.Errorf("a cook file holds a value of type %T", v)
	}
	return nil
}

func (f *freeValue) UnmarshalJSON(b []byte) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return err
	}
	var err error
	f.value, err = typed(v)
	return err
}

// typed gives numbers their type back.
func typed(v any) (any, error) {
	switch v := v.(type) {
	case json.Number:
		s := v.String()
		switch {
		case strings.ContainsAny(s, ".eE"):
			return strconv.ParseFloat(s, 64)
		case strings.HasPrefix(s, "-"):
			return strconv.ParseInt(s, 10, 64)
		}
		return strconv.ParseUint(s, 10, 64)
	case []any:
		for i, x := range v {
			y, err := typed(x)
			if err != nil {
				return nil, err
			}
			v[i] = y
		}
	case map[string]any:
		for k, x := range v {
			y, err := typed(x)
			if err != nil {
				return nil, err
			}
			v[k] = y
		}
	}
	return v, nil
}
