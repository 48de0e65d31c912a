package logfile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"trivet/fault"
)

// parquet writes the flat columns of a Parquet file (Apache Parquet
// format 2) as CSV: times as RFC 3339 in UTC, numbers as short as they round
// trip, missing values as empty cells. Nested names are joined by a point;
// repeated columns are left out and noted. Of each column one page is in
// memory at a time.
func (s *source) parquet(text io.Reader, w io.Writer, limits Limits) (err error) {
	bad := func(err error) error {
		if fault.As(err) != nil {
			return err
		}
		return fault.New("log-parquet", "the Parquet file cannot be read").WithFix("export the log as CSV").Wrap(err)
	}
	// The library panics on some corrupt files.
	defer func() {
		if p := recover(); p != nil {
			err = bad(fmt.Errorf("it is corrupt: %v", p))
		}
	}()
	at, size, done, err := s.random(text, "Parquet file", limits)
	defer done()
	if err != nil {
		return err
	}
	if err := checkFooter(at, size); err != nil {
		return bad(err)
	}
	f, err := parquet.OpenFile(at, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true), parquet.ReadBufferSize(16<<10))
	if err != nil {
		return bad(err)
	}
	schema := f.Schema()
	var keep []int
	var names, lists []string
	kinds := map[int]func(parquet.Value) string{}
	for _, path := range schema.Columns() {
		leaf, ok := schema.Lookup(path...)
		name := strings.Join(path, ".")
		if !ok || leaf.MaxRepetitionLevel > 0 {
			lists = append(lists, name)
			continue
		}
		keep, names = append(keep, leaf.ColumnIndex), append(names, name)
		kinds[leaf.ColumnIndex] = parquetText(leaf.Node.Type())
	}
	switch {
	case len(keep) == 0:
		return fault.New("log-no-table", "the Parquet file has no flat columns")
	case len(keep) > limits.MaxColumns:
		return fault.New("log-columns", "the file has %d columns, at most %d are read", len(keep), limits.MaxColumns)
	}
	if len(lists) > 0 {
		s.account.note("log-lists", "columns that hold lists were left out: %s", strings.Join(lists, ", "))
	}
	place := map[int]int{}
	for i, c := range keep {
		place[c] = i
	}
	out := bufio.NewWriterSize(w, 64<<10)
	writeRow(out, names)
	cells := make([]string, len(keep))
	rows := make([]parquet.Row, 256)
	for g, group := range f.RowGroups() {
		if err := checkPages(at, size, &f.Metadata().RowGroups[g]); err != nil {
			return bad(err)
		}
		in := group.Rows()
		for {
			n, err := in.ReadRows(rows)
			for _, row := range rows[:n] {
				clear(cells)
				for _, v := range row {
					if i, ok := place[v.Column()]; ok && !v.IsNull() {
						cells[i] = kinds[v.Column()](v)
					}
				}
				if err := writeRow(out, cells); err != nil {
					in.Close()
					return err
				}
			}
			if errors.Is(err, io.EOF) || err == nil && n == 0 {
				break
			}
			if err != nil {
				in.Close()
				return bad(err)
			}
		}
		if err := in.Close(); err != nil {
			return bad(err)
		}
	}
	return out.Flush()
}

// parquetText is how a column's values are written.
func parquetText(t parquet.Type) func(parquet.Value) string {
	if l := t.LogicalType(); l != nil {
		switch x := l.Value.(type) {
		case *format.TimestampType:
			unit := time.Nanosecond
			if x.Unit.Value != nil {
				unit = x.Unit.Value.Duration()
			}
			layout := "2006-01-02T15:04:05.999999999Z"
			if !x.IsAdjustedToUTC {
				layout = "2006-01-02 15:04:05.999999999"
			}
			per := int64(time.Second / max(unit, 1))
			return func(v parquet.Value) string {
				whole, rest := v.Int64()/per, v.Int64()%per
				if rest < 0 {
					whole, rest = whole-1, rest+per
				}
				return time.Unix(whole, rest*int64(unit)).UTC().Format(layout)
			}
		case *format.DecimalType:
			return parquetDecimal(t.Kind(), int(x.Scale))
		case *format.TimeType:
			unit := time.Nanosecond
			if x.Unit.Value != nil {
				unit = x.Unit.Value.Duration()
			}
			return func(v parquet.Value) string {
				ticks := v.Int64()
				if v.Kind() == parquet.Int32 {
					ticks = int64(v.Int32())
				}
				if ticks < 0 || ticks >= int64(24*time.Hour/max(unit, 1)) {
					return strconv.FormatInt(ticks, 10) + " " + unit.String() // no time of day
				}
				return time.Unix(0, 0).UTC().Add(time.Duration(ticks) * unit).Format("15:04:05.999999999")
			}
		case *format.IntType:
			if !x.IsSigned {
				return func(v parquet.Value) string {
					if v.Kind() == parquet.Int32 {
						return strconv.FormatUint(uint64(uint32(v.Int32())), 10)
					}
					return strconv.FormatUint(uint64(v.Int64()), 10)
				}
			}
		case *format.DateType:
			return func(v parquet.Value) string { return time.Unix(int64(v.Int32())*86400, 0).UTC().Format(time.DateOnly) }
		}
	}
	switch t.Kind() {
	case parquet.Float:
		return func(v parquet.Value) string { return strconv.FormatFloat(float64(v.Float()), 'g', -1, 32) }
	case parquet.Double:
		return func(v parquet.Value) string { return strconv.FormatFloat(v.Double(), 'g', -1, 64) }
	case parquet.Int32:
		return func(v parquet.Value) string { return strconv.FormatInt(int64(v.Int32()), 10) }
	case parquet.Int64:
		return func(v parquet.Value) string { return strconv.FormatInt(v.Int64(), 10) }
	case parquet.Int96:
		return parquetInt96
	case parquet.ByteArray, parquet.FixedLenByteArray:
		return func(v parquet.Value) string { return string(v.ByteArray()) }
	}
	return func(v parquet.Value) string { return v.String() }
}

// parquetDecimal writes whole numbers as decimals of a scale; in byte arrays
// they stand as big-endian two's complement (Apache Parquet, Logical Types,
// DECIMAL).
func parquetDecimal(kind parquet.Kind, scale int) func(parquet.Value) string {
	return func(v parquet.Value) string {
		n := new(big.Int)
		switch kind {
		case parquet.Int32:
			n.SetInt64(int64(v.Int32()))
		case parquet.Int64:
			n.SetInt64(v.Int64())
		default:
			b := v.ByteArray()
			if n.SetBytes(b); len(b) > 0 && b[0] >= 0x80 {
				n.Sub(n, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
			}
		}
		if scale <= 0 || scale > 300 {
			return n.String()
		}
		digits, sign := new(big.Int).Abs(n).String(), ""
		if n.Sign() < 0 {
			sign = "-"
		}
		if len(digits) <= scale {
			digits = strings.Repeat("0", scale+1-len(digits)) + digits
		}
		return sign + digits[:len(digits)-scale] + "." + digits[len(digits)-scale:]
	}
}

// parquetInt96 is the old form of a time: nanoseconds of the day and the
// Julian day, 2440588 being 1970-01-01 (Apache Parquet, Logical Types,
// deprecated INT96).
func parquetInt96(v parquet.Value) string {
	x := v.Int96()
	ns := int64(x[0]) | int64(x[1])<<32
	day := int64(x[2]) - 2440588
	if ns < 0 || ns >= int64(24*time.Hour) || day < -1e6 || day > 4e6 {
		return v.String()
	}
	return time.Unix(day*86400, ns).UTC().Format("2006-01-02T15:04:05.999999999Z")
}
