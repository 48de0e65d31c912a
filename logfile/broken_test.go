package logfile

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/unicode"

	"trivet/fault"
)

// sound are small logs of every shape.
var sound = []string{
	"time_s,core °C,pan °C\n0,5.0,200\n1,5.1,201\n2,5.2,199\n3,5.2,200\n",
	"Zeit;Kern °C;T2\n01.05.2026 10:00:00;5,1;6,0\n01.05.2026 10:00:01;5,2;6,1\n01.05.2026 10:00:02;5,3;6,1\n",
	"Date,Time,core °C\n2026-05-01,14:03:07,18.4\n2026-05-01,14:03:08.5,19.0\n2026-05-01,14:03:09.5,19.2\n",
	"time\tcore_f\n2026-05-01T14:03:07Z\t65.2\n2026-05-01T14:03:08Z\t65.4\n2026-05-01T14:03:09Z\t65.4\n",
	"time_s,probe,value,unit\n0,core,5,C\n0,pan,200,C\n1,core,5.1,C\n1,pan,200,C\n2,core,6,C\n2,pan,200,C\n",
	"Model X\nSerial 17\n\n\"elapsed\",\"core, °C\",\"note\"\n0:00:00,5.0,\"laid \"\"on\"\"\"\n0:00:01,5.1,\n0:00:02,5.1,\"two\nlines\"\n",
}

// brokenFiles makes about 150 small files, each a sound log with one thing
// wrong, the same on every run.
func brokenFiles() map[string][]byte {
	out := map[string][]byte{"nothing": nil, "one byte": {','}, "quotes": []byte(`""""""""""`), "line ends": []byte("\n\r\n\r\r\n")}
	r := rand.New(rand.NewPCG(2026, 5))
	swap := func(old, new string) func(string) []byte {
		return func(s string) []byte { return []byte(strings.Replace(s, old, new, 2)) }
	}
	pack := func(s string) []byte {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		fmt.Fprint(z, s)
		z.Close()
		return b.Bytes()
	}
	zw, err := zstd.NewWriter(nil)
	if err != nil {
		panic(err)
	}
	spoil := []struct {
		name string
		do   func(string) []byte
	}{
		{"cut in the header", func(s string) []byte { return []byte(s[:5]) }},
		{"cut in a row", func(s string) []byte { return []byte(s[:len(s)-4]) }},
		{"cut half way", func(s string) []byte { return []byte(s[:len(s)/2]) }},
		{"header alone", func(s string) []byte { return []byte(s[:strings.IndexByte(s, '\n')+1]) }},
		{"a byte flipped", func(s string) []byte {
			b := []byte(s)
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			return b
		}},
		{"zero bytes", func(s string) []byte {
			b := []byte(s)
			at := r.IntN(len(b) - 3)
			clear(b[at : at+3])
			return b
		}},
		{"zero bytes at the end", func(s string) []byte { return append([]byte(s), make([]byte, 300)...) }},
		{"an open quote", swap("5", "\"5")},
		{"a stray quote", swap("5.", "5\".")},
		{"words for numbers", swap("5", "OPEN")},
		{"infinities", swap("5", "Inf")},
		{"NaN", swap("5", "NaN")},
		{"a huge number", swap("5", "5e999")},
		{"a long number", swap("5", "5"+strings.Repeat("0", 500))},
		{"rows twice", func(s string) []byte { return []byte(s + s) }},
		{"rows backwards", func(s string) []byte {
			lines := strings.SplitAfter(s, "\n")
			for i, j := 0, len(lines)-1; i < j; i, j = i+1, j-1 {
				lines[i], lines[j] = lines[j], lines[i]
			}
			return []byte(strings.Join(lines, ""))
		}},
		{"too many cells", swap("\n", ",,,,1\n")},
		{"too few cells", func(s string) []byte { return []byte(s + "1\n2\n") }},
		{"mixed line ends", swap("\n", "\r")},
		{"blank lines", func(s string) []byte { return []byte(strings.ReplaceAll(s, "\n", "\n\n \n")) }},
		{"mixed delimiters", swap(",", ";")},
		{"bad UTF-8", swap("5", "\xff\xfe\x80")},
		{"UTF-16 cut in a letter", func(s string) []byte {
			b, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().Bytes([]byte(s))
			if err != nil {
				panic(err)
			}
			return b[:len(b)-1]
		}},
		{"gzip cut", func(s string) []byte { b := pack(s); return b[:len(b)-6] }},
		{"zstd spoilt", func(s string) []byte { b := zw.EncodeAll([]byte(s), nil); b[len(b)/2] ^= 0xff; return b }},
	}
	for i, s := range sound {
		for _, p := range spoil {
			out[fmt.Sprintf("%s, log %d", p.name, i)] = p.do(s)
		}
	}
	return out
}

// checkLog loads the bytes and checks what must hold of any file: an error of
// our kind, or sound traces and an account in which every row is kept or kept
// out for a reason.
func checkLog(t *testing.T, in []byte, opt LoadOptions) {
	t.Helper()
	log, err := Load(bytes.NewReader(in), opt)
	if err != nil {
		if fault.As(err) == nil {
			t.Fatalf("not an error of ours: %v", err)
		}
		return
	}
	for _, tr := range log.Traces {
		if err := tr.Validate(); err != nil {
			t.Fatal(err)
		}
	}
	a := log.Account
	if a.Kept > a.Rows {
		t.Fatalf("%d of %d rows kept", a.Kept, a.Rows)
	}
	if a.Unlisted > 0 {
		return
	}
	out := map[int]bool{}
	for _, p := range a.Problems {
		if p.Row < 1 || p.LastRow > a.Rows || p.LastRow < p.Row {
			t.Fatalf("rows of %+v, %d read", p, a.Rows)
		}
		for r := p.Row; p.Kind.RowOut() && r <= p.LastRow; r++ {
			out[r] = true
		}
	}
	if a.Kept+len(out) != a.Rows {
		t.Fatalf("%d rows read, %d kept, %d kept out: %v", a.Rows, a.Kept, len(out), a.Problems)
	}
}

func TestBrokenFiles(t *testing.T) {
	files := brokenFiles()
	if len(files) < 150 {
		t.Fatalf("%d files", len(files))
	}
	for name, b := range files {
		t.Run(name, func(t *testing.T) { checkLog(t, b, LoadOptions{}) })
	}
	for i, s := range sound {
		if log := load(t, s, LoadOptions{}); len(log.Account.Problems) > 0 || len(log.Traces) == 0 {
			t.Errorf("sound log %d: %+v", i, log.Account)
		}
	}
}
