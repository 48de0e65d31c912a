package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"time"

	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/study"
	"trivet/trace"
)

// unchanged compares records: nil and empty lists are alike; instants and
// bitmaps compare by their Equal.
var unchanged = cmpopts.EquateEmpty()

func newID(t *rapid.T) string {
	b := rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "uuid")
	id, _ := uuid.FromBytes(b)
	return id.String()
}

var anyTime = rapid.Custom(func(t *rapid.T) time.Time {
	if rapid.Bool().Draw(t, "zero") {
		return time.Time{}
	}
	zone := time.FixedZone("", 60*rapid.IntRange(-12*60, 14*60).Draw(t, "offset"))
	return time.Unix(0, rapid.Int64Range(0, 4e18).Draw(t, "ns")).In(zone)
})

// finite draws any number a record may hold.
var finite = rapid.Float64Range(-1e300, 1e300)

// freeValues draws what a cook file may hold.
func freeValues(depth int) *rapid.Generator[any] {
	leaves := []*rapid.Generator[any]{
		rapid.String().AsAny(), rapid.Bool().AsAny(), finite.AsAny(), rapid.Uint64().AsAny(),
		rapid.Int64Max(-1).AsAny(), rapid.Just[any](nil),
	}
	if depth > 0 {
		leaves = append(leaves,
			rapid.SliceOfN(freeValues(depth-1), 0, 3).AsAny(),
			rapid.MapOfN(rapid.String(), freeValues(depth-1), 0, 3).AsAny())
	}
	return rapid.OneOf(leaves...)
}

// anyRecords fills every field of a record by reflection, so that a field
// added later is tested without a change here.
var anyRecords = rapid.MakeConfig{
	Types: map[reflect.Type]*rapid.Generator[any]{
		reflect.TypeFor[time.Time](): anyTime.AsAny(),
		reflect.TypeFor[float64]():   finite.AsAny(),
		reflect.TypeFor[map[string]any](): rapid.Custom(func(t *rapid.T) map[string]any {
			return rapid.MapOfN(rapid.String(), freeValues(2), 0, 3).Draw(t, "spec")
		}).AsAny(),
	},
}

var (
	anyStudy = rapid.MakeCustom[study.Study](anyRecords)
	anyCook  = rapid.MakeCustom[study.Cook](anyRecords)
	anyEvent = rapid.MakeCustom[study.Event](anyRecords)
)

// cookOf draws a cook whose ids are its own.
func cookOf(t *rapid.T, i int) study.Cook {
	k := anyCook.Draw(t, "cook")
	k.ID = newID(t)
	k.Label = fmt.Sprintf("%d %s", i, k.Label)
	for j := range k.Marks {
		k.Marks[j].ID = newID(t)
	}
	for j := range k.Weighings {
		k.Weighings[j].ID = newID(t)
	}
	for j := range k.Readings {
		k.Readings[j].ID = newID(t)
	}
	for j := range k.Photos {
		k.Photos[j].ID = newID(t)
	}
	return k
}

var anyChannel = rapid.MakeCustom[trace.Channel](anyRecords)

// traceOf draws a trace with irregular times, gaps and full-range counts.
func traceOf(t *rapid.T, source string) trace.Trace {
	x := trace.Trace{
		Channel:   anyChannel.Draw(t, "channel"),
		Elapsed:   rapid.Bool().Draw(t, "elapsed"),
		OffsetMin: rapid.IntRange(-840, 840).Draw(t, "offset"),
		Quantum:   rapid.SampledFrom([]float64{0.1, 0.0625, 0.01, 1, 5e-324}).Draw(t, "quantum"),
		Source:    source,
	}
	at := rapid.Int64Range(-1<<52, 1<<52).Draw(t, "start")
	for i := range rapid.IntRange(0, 40).Draw(t, "samples") {
		at += rapid.Int64Range(1, 1<<40).Draw(t, "step")
		x.TimesUS = append(x.TimesUS, at)
		if rapid.IntRange(0, 4).Draw(t, "missing") == 0 {
			x.Missing.Set(i)
			x.Counts = append(x.Counts, 0)
			continue
		}
		x.Counts = append(x.Counts, rapid.Int64Range(-1<<40, 1<<40).Draw(t, "count"))
	}
	return x
}

func rawOf(name string, b []byte) bench.RawFile {
	sum := sha256.Sum256(b)
	return bench.RawFile{SHA256: hex.EncodeToString(sum[:]), Name: name, Bytes: b}
}

var anyRaw = rapid.Custom(func(t *rapid.T) bench.RawFile {
	b := rapid.SliceOfN(rapid.Byte(), 0, 200).Draw(t, "bytes")
	return rawOf(rapid.String().Draw(t, "name"), b)
})

// anyCookFiles draws files under safe names.
var anyCookFiles = rapid.MapOfN(rapid.StringMatching(`[a-z]{1,8}(/[a-z]{1,8}){0,2}\.yaml`), rapid.SliceOf(rapid.Byte()), 0, 3)
