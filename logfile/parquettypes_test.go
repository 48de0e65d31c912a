package logfile

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/deprecated"
)

// Logical types of Parquet are read as what they mean: a decimal has its
// scale, an unsigned number no sign, a time of day its colons, and the old
// 96-bit time its day.
func TestParquetTypes(t *testing.T) {
	type row struct {
		At    deprecated.Int96 `parquet:"time"`
		Core  int32            `parquet:"core °C,decimal(2:9)"`
		Pan   int64            `parquet:"pan °C,decimal(1:18)"`
		Scale uint32           `parquet:"scale g"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b)
	start := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	for i := range 4 {
		ns := uint64(10*time.Hour + time.Duration(i)*time.Second)
		at := deprecated.Int96{uint32(ns), uint32(ns >> 32), uint32(start.Unix()/86400 + 2440588)}
		if _, err := w.Write([]row{{at, int32(-5 + 530*i), int64(2005 + i), 3_000_000_000 + uint32(i)}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	log := load(t, b.String(), LoadOptions{})
	if d := cmp.Diff([]float64{-0.05, 5.25, 10.55, 15.85}, values(log.Traces[0]), sameFloats); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]float64{200.5, 200.6, 200.7, 200.8}, values(log.Traces[1]), sameFloats); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]float64{3e9, 3e9 + 1, 3e9 + 2, 3e9 + 3}, values(log.Traces[2]), sameFloats); d != "" {
		t.Error(d)
	}
	if us := log.Traces[0].TimesUS; us[0] != start.UnixMicro() || us[3] != start.UnixMicro()+3e6 {
		t.Error(us)
	}
}

// Decimals in byte arrays are two's complement, most significant byte first.
func TestParquetDecimal(t *testing.T) {
	for _, c := range []struct {
		bytes []byte
		scale int
		want  string
	}{
		{[]byte{0x02, 0x0d}, 2, "5.25"},
		{[]byte{0xff, 0xfb}, 2, "-0.05"},
		{[]byte{0x05}, 0, "5"},
		{nil, 1, "0.0"},
	} {
		if got := parquetDecimal(parquet.FixedLenByteArray, c.scale)(parquet.FixedLenByteArrayValue(c.bytes)); got != c.want {
			t.Errorf("%x at scale %d: %s, want %s", c.bytes, c.scale, got, c.want)
		}
	}
}
