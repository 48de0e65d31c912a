package logfile

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"trivet/trace"
)

// Words in a header that tell where a sensor is, English and German. The
// first that is found decides.
var placeWords = []struct {
	place trace.Place
	words []string
}{
	{trace.Surface, []string{"surface", "crust", "skin", "oberfläche", "oberflaeche"}},
	{trace.Core, []string{"core", "centre", "center", "internal", "middle", "kern", "mitte"}},
	{trace.Pan, []string{"pan", "skillet", "griddle", "hotplate", "plate", "pfanne", "grill"}},
	{trace.Fat, []string{"oil", "fat", "butter", "lard", "fett", "öl"}},
	{trace.Bath, []string{"bath", "water", "circulator", "wasser", "bad"}},
	{trace.Air, []string{"oven", "air", "ambient", "chamber", "room", "cabinet", "ofen", "luft", "raum"}},
	{trace.Scale, []string{"scale", "mass", "weight", "balance", "waage", "gewicht", "masse"}},
}

// placeCodes are words that may begin or end a place's word in a name such
// as "core1" or "t_core"; longer words must match whole.
var wordSplit = regexp.MustCompile(`[^\p{L}]+`)

var (
	unitInBrackets = regexp.MustCompile(`[\[(]\s*([^\])]{1,12}?)\s*[\])]`)
	unitAtEnd      = regexp.MustCompile(`(?:^|[\s_/,.-])(°\s?[CFcf]|º\s?[CFcf]|℃|℉|deg\s?[CFcf]|[CFK]|[cfgk]|kg|oz|lbs?|pct|%|[Ww]|g)$`)
	depthInName    = regexp.MustCompile(`(?i)(?:^|[^\d.,])(\d{1,3}(?:[.,]\d+)?)\s?mm\b`)
	depthCode      = regexp.MustCompile(`(?i)^d(\d{1,3})(?:\D|$)`)
	sideInName     = regexp.MustCompile(`(?i)(?:^|[^a-z])(a|b)(?:[^a-z]|$)`)
)

// nameUnit finds a unit in a header: in brackets, in a second header line, or
// at the end of the name.
func nameUnit(name, unitRow string) (unit cellUnit, timeForm TimeForm, bare, how string) {
	try := func(s string) bool {
		s = strings.ToLower(strings.TrimSpace(s))
		unit, timeForm = unitNames[s], timeUnits[s]
		return unit != "" || timeForm != ""
	}
	if unitRow != "" && try(strings.Trim(unitRow, "[]()")) {
		return unit, timeForm, name, "the line below the header"
	}
	if m := unitInBrackets.FindStringSubmatchIndex(name); m != nil && try(name[m[2]:m[3]]) {
		return unit, timeForm, strings.TrimSpace(name[:m[0]] + " " + name[m[1]:]), "the brackets in its name"
	}
	if m := unitAtEnd.FindStringSubmatchIndex(name); m != nil && try(name[m[2]:m[3]]) && m[2] > 0 {
		return unit, timeForm, strings.TrimRight(name[:m[2]], " _/,.-"), "the end of its name"
	}
	unit, timeForm = "", ""
	if i := strings.LastIndexAny(name, " _/"); i > 0 && try(name[i+1:]) {
		return unit, timeForm, name[:i], "the end of its name"
	}
	return "", "", name, ""
}

// span is the range of the values seen, empty when lo > hi.
type span struct{ lo, hi float64 }

// guessChannel reads a channel from a column's header and what its numbers
// look like. Factor is from the written unit to the channel's.
func guessChannel(name, unitRow string, inCells cellUnit, seen span) (ch trace.Channel, factor float64, sure bool, why string) {
	unit, _, bare, how := nameUnit(name, unitRow)
	if inCells != "" {
		unit, how = inCells, "the unit behind its numbers"
	}
	var because []string
	sure = true
	ch.SourceName = name
	ch.Place, why = guessPlace(bare)
	because = append(because, why)
	if ch.Place == trace.Depth || ch.Place == trace.Surface {
		placeDetail(&ch, bare)
		if ch.Place == trace.Surface && ch.Side == "" {
			sure = false
			because = append(because, "side A is taken")
			ch.Side = "A"
		}
	}
	if ch.Place == trace.Other {
		sure = false
	}
	mass := ch.Place == trace.Scale
	switch {
	case how != "" && unit != "":
		because = append(because, fmt.Sprintf("%s from %s", unit, how))
	case mass:
		unit, sure = "g", false
		because = append(because, "no unit is written; grams are taken")
	case ch.Place == trace.Core && seen.hi > 105:
		unit, sure = "degF", false
		because = append(because, fmt.Sprintf("no unit is written; a core at %g can only be °F", seen.hi))
	case ch.Place != trace.Other:
		unit, sure = "degC", false
		because = append(because, "no unit is written; °C is taken")
	default:
		unit, sure = "degC", false
		because = append(because, "no unit is written; a temperature in °C is taken")
	}
	kept := unitsKept[unit]
	ch.Unit = kept.unit
	if mass && ch.Unit != trace.Gram && ch.Unit != trace.Ounce {
		sure = false
	}
	if ch.Place == trace.Other && (ch.Unit == trace.Gram || ch.Unit == trace.Ounce) {
		ch.Place, sure = trace.Scale, true
		because = append(because, "its unit is one of mass")
	}
	return ch, kept.factor, sure, strings.Join(because, "; ")
}

// guessPlace looks for words of a place, then for a depth.
func guessPlace(name string) (trace.Place, string) {
	lower := strings.ToLower(name)
	if m := depthInName.FindString(lower); m != "" {
		return trace.Depth, fmt.Sprintf("depth from %q", strings.TrimSpace(m))
	}
	if depthCode.MatchString(lower) {
		return trace.Depth, fmt.Sprintf("depth in mm from %q", name)
	}
	words := wordSplit.Split(lower, -1)
	for _, p := range placeWords {
		for _, want := range p.words {
			for _, w := range words {
				// Compounds ("kerntemperatur", "panel" aside) count for words
				// of four letters and more.
				if w == want || len(want) >= 4 && strings.HasPrefix(w, want) {
					return p.place, fmt.Sprintf("%s from %q", p.place, w)
				}
			}
		}
	}
	return trace.Other, "its name tells no place"
}

// placeDetail reads the depth or the side from a name.
func placeDetail(ch *trace.Channel, name string) {
	text := ""
	if m := depthInName.FindStringSubmatch(name); m != nil {
		text = m[1]
	} else if m := depthCode.FindStringSubmatch(name); m != nil {
		text = m[1]
	}
	if mm, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err == nil && ch.Place == trace.Depth {
		ch.DepthM = math.Round(mm*1e6) / 1e9
	}
	if m := sideInName.FindStringSubmatch(name); m != nil && ch.Place == trace.Surface {
		ch.Side = strings.ToUpper(m[1])
	}
}

var notSlug = regexp.MustCompile(`[^a-z0-9]+`)

// channelID makes an id of a channel that no other in used has.
func channelID(ch trace.Channel, bare string, used map[string]bool) string {
	id := strings.Trim(notSlug.ReplaceAllString(strings.ToLower(plainLetters(bare)), "-"), "-")
	switch {
	case ch.Place == trace.Depth:
		id = "d" + strconv.FormatFloat(math.Round(ch.DepthM*1e6)/1e3, 'f', -1, 64)
	case ch.Place == trace.Core && !used["core"]:
		id = "core"
	case id == "":
		id = "channel"
	}
	base := id
	for n := 2; used[id]; n++ {
		id = fmt.Sprintf("%s-%d", base, n)
	}
	used[id] = true
	return id
}

// plainLetters writes letters without their accents: Oberfläche is Oberflache.
func plainLetters(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFD.String(s))
}
