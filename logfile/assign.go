package logfile

import (
	"path"
	"strings"
	"unicode"
	"unicode/utf8"

	"trivet/fault"
)

// Assign finds the cook a log belongs to by its file name: the longest label
// that stands in the name whole, whatever the capitals, with no letter or
// digit on either side ("L1" is not in "L10-core.csv"). None, or two of one
// length, is an error that says so.
func Assign(file string, labels []string) (string, error) {
	name := strings.ToLower(path.Base(strings.ReplaceAll(file, `\`, "/")))
	best, tie := "", ""
	for _, label := range labels {
		if label == "" || !stands(name, strings.ToLower(label)) {
			continue
		}
		switch n, most := utf8.RuneCountInString(label), utf8.RuneCountInString(best); {
		case n > most:
			best, tie = label, ""
		case n == most && !strings.EqualFold(label, best):
			tie = label
		}
	}
	switch {
	case best == "":
		return "", fault.New("assign-none", "no cook's label stands in the file's name").On("file", file).
			WithFix("put the label into the file's name, or say which cook it belongs to")
	case tie != "":
		return "", fault.New("assign-tie", "the labels %q and %q both stand in the file's name", best, tie).On("file", file).
			WithFix("say which cook it belongs to")
	}
	return best, nil
}

// stands tells whether word stands in name between other signs than letters
// and digits.
func stands(name, word string) bool {
	wordRune := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
	for at := 0; ; {
		i := strings.Index(name[at:], word)
		if i < 0 {
			return false
		}
		i += at
		before, _ := utf8.DecodeLastRuneInString(name[:i])
		after, _ := utf8.DecodeRuneInString(name[i+len(word):])
		if (i == 0 || !wordRune(before)) && (i+len(word) == len(name) || !wordRune(after)) {
			return true
		}
		_, n := utf8.DecodeRuneInString(name[i:])
		at = i + n
	}
}
