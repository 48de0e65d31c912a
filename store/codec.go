package store

import (
	"bytes"
	"encoding/json"

	"trivet/trace"
)

type flat struct {
	T trace.Trace
	M []int
}

func encodeTrace(t trace.Trace) ([]byte, error) {
	f := flat{T: t}
	for i := range t.TimesUS {
		if t.Missing.Has(i) {
			f.M = append(f.M, i)
		}
	}
	var b bytes.Buffer
	err := json.NewEncoder(&b).Encode(f)
	return b.Bytes(), err
}

func decodeTrace(b []byte) (trace.Trace, error) {
	var f flat
	err := json.NewDecoder(bytes.NewReader(b)).Decode(&f)
	for _, i := range f.M {
		f.T.Missing.Set(i)
	}
	return f.T, err
}
