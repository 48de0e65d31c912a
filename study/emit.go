package study

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Field is a key of a document and its value.
type Field struct {
	Key   string
	Value any
}

// Fields are keys with their values in the order in which they are written.
// A value is a string, bool, int, float64, nil (an empty value), another
// Fields, or a []any, []string or []float64.
type Fields []Field

// lineWidth is how long a group may be and still stand on one line.
const lineWidth = 100

// plainScalar matches text that needs no quotes anywhere in YAML.
var plainScalar = regexp.MustCompile(`^[\pL\pN°+./(-][\pL\pN°±×%′″µ+./()_;?' -]*$`)

// numberLike matches text that a YAML reader takes for a number.
var numberLike = regexp.MustCompile(`^[-+.]?[0-9][0-9_]*(\.[0-9_]*)?([eE][-+]?[0-9]+)?$|^0[xXoObB]|^[-+]?\.(inf|Inf|INF)$|^\.(nan|NaN|NAN)$`)

// quoted renders text so that YAML 1.1 and 1.2 readers give back the same
// text, in a block and between flow brackets.
func quoted(s string) string {
	if s != "" && plainScalar.MatchString(s) && !numberLike.MatchString(s) &&
		!strings.HasSuffix(s, " ") && !strings.HasPrefix(s, "- ") && s != "-" && !strings.HasPrefix(s, "---") && !strings.HasPrefix(s, "...") {
		switch strings.ToLower(s) {
		case "null", "true", "false", "yes", "no", "on", "off", "y", "n":
		default:
			return s
		}
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "�")
	}
	if err := e.Encode(s); err != nil {
		return strconv.Quote(s)
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// keyText renders a key. "n", the count of a tasting, is written as people
// write it: YAML 1.1 lists it as a no, but readers (PyYAML 6.0 was tried) take
// it as text.
func keyText(key string) string {
	if key == "n" {
		return key
	}
	return quoted(key)
}

// inline renders a value on one line.
func inline(v any) (string, error) {
	switch v := v.(type) {
	case nil:
		return "null", nil
	case string:
		return quoted(v), nil
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v], nil
	case int:
		return strconv.Itoa(v), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", fmt.Errorf("%v cannot be written in a study", v)
		}
		return strconv.FormatFloat(v, 'f', -1, 64), nil
	case Fields:
		parts := make([]string, len(v))
		for i, f := range v {
			s, err := inline(f.Value)
			if err != nil {
				return "", err
			}
			parts[i] = keyText(f.Key) + ": " + s
		}
		return "{" + strings.Join(parts, ", ") + "}", nil
	}
	items, ok := asList(v)
	if !ok {
		return "", fmt.Errorf("a %T cannot be written in a study", v)
	}
	parts := make([]string, len(items))
	for i, x := range items {
		s, err := inline(x)
		if err != nil {
			return "", err
		}
		parts[i] = s
	}
	return "[" + strings.Join(parts, ", ") + "]", nil
}

func asList(v any) ([]any, bool) {
	switch v := v.(type) {
	case []any:
		return v, true
	case []string:
		out := make([]any, len(v))
		for i := range v {
			out[i] = v[i]
		}
		return out, true
	case []float64:
		out := make([]any, len(v))
		for i := range v {
			out[i] = v[i]
		}
		return out, true
	}
	return nil, false
}

// block renders fields as lines at an indentation, each ended by a newline.
func block(b *strings.Builder, fs Fields, indent int) error {
	pad := strings.Repeat(" ", indent)
	for _, f := range fs {
		b.WriteString(pad + keyText(f.Key) + ":")
		if err := blockValue(b, f.Value, indent, len(f.Key)+2); err != nil {
			return err
		}
	}
	return nil
}

// blockValue renders the value behind "key:". Small groups stay on the line.
func blockValue(b *strings.Builder, v any, indent, used int) error {
	if v == nil {
		b.WriteString("\n")
		return nil
	}
	s, err := inline(v)
	if err != nil {
		return err
	}
	fs, isFields := v.(Fields)
	items, isList := asList(v)
	entries := isList && len(items) > 0 && isGroup(items[0])
	if !entries && (!isFields && !isList || indent+used+utf8.RuneCountInString(s) <= lineWidth && (isList || indent > 0) || len(fs)+len(items) == 0) {
		b.WriteString(" " + s + "\n")
		return nil
	}
	b.WriteString("\n")
	if isFields {
		return block(b, fs, indent+2)
	}
	for _, x := range items {
		if err := blockItem(b, x, indent+2); err != nil {
			return err
		}
	}
	return nil
}

func isGroup(v any) bool { _, ok := v.(Fields); return ok }

// blockItem renders one list entry.
func blockItem(b *strings.Builder, v any, indent int) error {
	pad := strings.Repeat(" ", indent)
	s, err := inline(v)
	if err != nil {
		return err
	}
	fs, isFields := v.(Fields)
	if !isFields || len(fs) == 0 || indent+2+utf8.RuneCountInString(s) <= lineWidth {
		b.WriteString(pad + "- " + s + "\n")
		return nil
	}
	var inner strings.Builder
	if err := block(&inner, fs, indent+2); err != nil {
		return err
	}
	b.WriteString(pad + "- " + strings.TrimLeft(inner.String(), " "))
	return nil
}
