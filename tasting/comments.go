package tasting

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"trivet/fault"
)

// Comments is free comment: say in own words what the sample is like.
type Comments struct{}

var _ TableMethod = Comments{}

// Describe implements Method.
func (Comments) Describe() Description {
	return Description{
		Name: "comments", Title: "free comments", Standard: "common practice, no source", Kind: KindWords,
		Ask:      "Say in your own words what this sample is like.",
		MayClaim: []string{"which words came up, and from how many tasters"},
		Not: []string{
			"a difference: comments raise questions for the next tasting, they answer none",
			"that a word nobody used does not apply",
		},
		Aliases: []string{"comment", "free-comments"},
	}
}

// Block is a Williams square.
func (Comments) Block(products int) ([]Serving, error) { return squareBlock(products, 8) }

// CommentResult lists comments and counts words.
type CommentResult struct {
	outcome
	Products []string    `json:"products"`
	Comments []Comment   `json:"comments"`
	Words    []WordCount `json:"words"` // most tasters first
}

// Comment is one remark, without its author.
type Comment struct {
	Product string `json:"product"`
	Text    string `json:"text"`
}

// WordCount is how many tasters used a word, by product. A taster counts once
// for each product.
type WordCount struct {
	Word    string `json:"word"`
	Tasters []int  `json:"tasters"`
	total   int
}

// ScoreRows counts words of three letters or more, in lower case; it does not
// guess at synonyms or languages. Comments are listed sorted, so their order
// does not give away who wrote them.
func (m Comments) ScoreRows(rows []Row, alpha float64) (Report, error) {
	res := &CommentResult{outcome: outcome{Method: m.Describe().Name, Alpha: alpha}}
	for _, r := range rows {
		if !slices.Contains(res.Products, r.Product) {
			res.Products = append(res.Products, r.Product)
		}
	}
	used := map[[3]string]bool{}
	counts := map[string]*WordCount{}
	for _, r := range rows {
		text := strings.TrimSpace(r.Text)
		if text == "" {
			continue
		}
		res.Comments = append(res.Comments, Comment{r.Product, text})
		at := slices.Index(res.Products, r.Product)
		for _, w := range strings.FieldsFunc(strings.ToLower(text), func(c rune) bool { return !unicode.IsLetter(c) && c != '-' && c != '\'' }) {
			k := [3]string{r.Assessor, r.Product, w}
			if len([]rune(w)) < 3 || used[k] {
				continue
			}
			used[k] = true
			if counts[w] == nil {
				counts[w] = &WordCount{Word: w, Tasters: make([]int, len(res.Products))}
			}
			counts[w].Tasters[at]++
			counts[w].total++
		}
	}
	if len(res.Comments) == 0 {
		return nil, fault.New("comments-none", "there is no comment in the table").WithFix("put the remarks in the column comment")
	}
	for _, c := range counts {
		res.Words = append(res.Words, *c)
	}
	slices.SortFunc(res.Words, func(a, b WordCount) int {
		return cmp.Or(cmp.Compare(b.total, a.total), cmp.Compare(a.Word, b.Word))
	})
	slices.SortFunc(res.Comments, func(a, b Comment) int {
		return cmp.Or(cmp.Compare(a.Product, b.Product), cmp.Compare(a.Text, b.Text))
	})
	res.say("%d comments. Words are counted once a taster and product.", len(res.Comments))
	res.close(m)
	return res, nil
}

// Table implements Report.
func (r *CommentResult) Table() [][]string {
	out := [][]string{append([]string{"word"}, r.Products...)}
	for i, w := range r.Words {
		if i == 30 {
			break
		}
		row := []string{w.Word}
		for _, n := range w.Tasters {
			row = append(row, fmt.Sprint(n))
		}
		out = append(out, row)
	}
	return out
}
