package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// listLength is how many lines of a long list stand on a page.
const listLength = 100

// listing is a stretch of a long list: which lines are shown, of how many,
// and the way to the others.
type listing struct {
	Study, Name string // of the list: cooks, order, history
	Find        string // what its search is called
	Query       string
	From, To    int // from 1; 0 when nothing matches
	Matching    int
	All         int
	Prev, Next  string // addresses, empty where there is nothing more
	Open        bool   // it was searched or turned
	length      int    // of a stretch
}

// Short tells whether all lines fit on the page and none is searched for.
func (l listing) Short() bool { return l.All <= l.length && l.Query == "" }

// list takes the stretch of a list that a request asks for with NAME (words
// to find) and NAME-from (the first line, from 1).
func list[T any](r *http.Request, study, name, find string, all []T, text func(T) string) ([]T, listing) {
	return stretchOf(r, study, name, find, listLength, all, text)
}

// stretchOf is list with stretches of another length.
func stretchOf[T any](r *http.Request, study, name, find string, length int, all []T, text func(T) string) ([]T, listing) {
	q := r.URL.Query()
	l := listing{Study: study, Name: name, Find: find, Query: strings.TrimSpace(q.Get(name)), All: len(all), length: length}
	l.Open = q.Has(name) || q.Has(name+"-from")
	found := all
	if l.Query != "" {
		found = nil
		for _, x := range all {
			if matches(l.Query, text(x)) {
				found = append(found, x)
			}
		}
	}
	l.Matching = len(found)
	from, _ := strconv.Atoi(q.Get(name + "-from"))
	from = max(0, min(from-1, l.Matching-1))
	to := min(from+length, l.Matching)
	if l.Matching > 0 {
		l.From, l.To = from+1, to
	}
	at := func(from int) string {
		path := r.URL.Path
		if r.Method != http.MethodGet {
			path = "/studies/" + study
		}
		v := url.Values{}
		for k := range q {
			v.Set(k, q.Get(k))
		}
		v.Set(name+"-from", strconv.Itoa(from+1))
		return path + "?" + v.Encode() + "#" + name
	}
	if from > 0 {
		l.Prev = at(max(0, from-length))
	}
	if to < l.Matching {
		l.Next = at(to)
	}
	return found[from:to], l
}

// listsAsked is what a request asks of the lists of a study's page: nothing
// for the page as it opens.
func listsAsked(r *http.Request) string {
	q := r.URL.Query()
	for k := range q {
		if name, _, _ := strings.Cut(k, "-"); name != "cooks" && name != "order" && name != "history" {
			q.Del(k)
		}
	}
	return q.Encode()
}
