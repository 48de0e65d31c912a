package study

import (
	"strings"
	"unicode"

	"github.com/google/uuid"
)

// NewID makes a slug of a title: lower case, words joined by hyphens, at
// most 48 characters: "Sear first or sear last?" gives
// "sear-first-or-sear-last". Letters with marks lose them where they are
// common in kitchens ("sauté" gives "saute"); other letters fall away. The
// result is empty when nothing is left.
func NewID(title string) string {
	var b strings.Builder
	gap := false
	for _, c := range title {
		c = unicode.ToLower(c)
		if plain, ok := unmarked[c]; ok {
			c = plain
		}
		switch {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			gap = false
			b.WriteRune(c)
		case c == '\'' || c == '’':
			// "don't" is one word
		default:
			gap = true
		}
	}
	id := b.String()
	if len(id) > 48 {
		id = id[:48]
		if cut := strings.LastIndexByte(id, '-'); cut > 24 {
			id = id[:cut]
		}
		id = strings.TrimRight(id, "-")
	}
	return id
}

var unmarked = func() map[rune]rune {
	m := map[rune]rune{}
	for plain, marked := range map[rune]string{
		'a': "áàâäãå", 'c': "ç", 'e': "éèêë", 'i': "íìîï", 'n': "ñ",
		'o': "óòôöõø", 'u': "úùûü", 'y': "ýÿ",
	} {
		for _, c := range marked {
			m[c] = plain
		}
	}
	return m
}()

// nameSpace makes the ids of records that were written by hand without one.
// They depend only on the study and their place, so that loading a document
// twice names the same cooks.
var nameSpace = uuid.MustParse("6f1b2c1e-6a55-5d0a-9c0e-7f2f5d3b8a41")

func namedID(parts ...string) string {
	return uuid.NewSHA1(nameSpace, []byte(strings.Join(parts, "\x00"))).String()
}
