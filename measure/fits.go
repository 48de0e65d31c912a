package measure

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"math"
	"sync"

	"trivet/fault"
)

// Fits remembers profiles that were fitted, so that one cook measured several
// times (its responses, their other definitions, its quality) is fitted once.
// It holds no samples, keeps to a bounded size by forgetting the oldest, and
// may be used by several goroutines at once. The zero value is ready.
type Fits struct {
	mu    sync.Mutex
	by    map[[32]byte]keptFit
	order [][32]byte
	times int // held in all
}

type keptFit struct {
	profile *Profile // nil where none could be fitted
	notes   []fault.Note
}

const (
	// mostTimes bounds what is held: each time is some 100 bytes of profile.
	mostTimes = 1 << 20
	// mostHashed is how many samples a cook may have to be looked up by them.
	mostHashed = 4 << 20
)

// fit is the profile fitted to the sensors of the cook; nil where they are
// too few, stand at unknown depths, or do not make one.
func (v *view) fit() *Profile {
	if v.fitted {
		return v.profile
	}
	v.fitted = true
	key, keyed := v.fitKey()
	if keyed {
		if k, ok := v.in.Fits.get(key); ok {
			v.notes = append(v.notes, k.notes...)
			v.profile = k.profile
			return v.profile
		}
	}
	before := len(v.notes)
	v.profile = v.newFit()
	if keyed {
		v.in.Fits.put(key, keptFit{v.profile, append([]fault.Note(nil), v.notes[before:]...)})
	}
	return v.profile
}

// fitKey names all that a fit rests on: the samples of every channel, the
// cook's marks, the piece and the instruments.
func (v *view) fitKey() (key [32]byte, ok bool) {
	if v.in.Fits == nil {
		return key, false
	}
	n := 0
	for _, s := range v.all {
		n += len(s.timeS)
	}
	if n > mostHashed {
		return key, false
	}
	cook := v.in.Cook
	cook.Photos = nil
	h := sha256.New()
	enc := json.NewEncoder(h)
	if enc.Encode([]any{MethodVersion, cook, v.in.Piece, v.in.Instruments, v.in.withLag}) != nil {
		return key, false
	}
	b := make([]byte, 0, 1<<16)
	for _, s := range v.all {
		if enc.Encode([]any{s.ch, s.stepU, len(s.timeS)}) != nil {
			return key, false
		}
		for i := range s.timeS {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(s.timeS[i]))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(s.value[i]))
			if len(b) > cap(b)-16 {
				h.Write(b)
				b = b[:0]
			}
		}
	}
	h.Write(b)
	return [32]byte(h.Sum(nil)), true
}

func (f *Fits) get(key [32]byte) (keptFit, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	k, ok := f.by[key]
	return k, ok
}

func (f *Fits) put(key [32]byte, k keptFit) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if _, known := f.by[key]; known {
		return
	}
	if f.by == nil {
		f.by = map[[32]byte]keptFit{}
	}
	f.by[key] = k
	f.order = append(f.order, key)
	f.times += k.size()
	for f.times > mostTimes && len(f.order) > 1 {
		f.times -= f.by[f.order[0]].size()
		delete(f.by, f.order[0])
		f.order = f.order[1:]
	}
}

func (k keptFit) size() int {
	if k.profile == nil {
		return 1
	}
	return 1 + len(k.profile.TimeS)
}
