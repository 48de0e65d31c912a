// Package web serves trivet's pages over HTTP: the tasting room, from
// setting a blind tasting up to its score.
//
// Start with New and serve its Handler:
//
//	s, err := web.New(ctx, notebook, web.Options{Now: time.Now, Random: rand.Reader})
//	http.ListenAndServe("127.0.0.1:8137", s.Handler())
//
// Without a passphrase every visitor is the lead, so such a server must listen
// on loopback only. With one, the lead signs in and everybody else comes by an
// unguessable link that opens one role at one tasting: the tray sheet, one
// assessor's ballot, the carve-and-plate sheet, or the counts.
//
// Pages work without scripts. A ballot's script keeps answers on the phone
// while the connection is lost and sends each once it is back; the answer's
// id, drawn when the form was made, makes a second arrival harmless.
//
// Who may know what is kept apart by type: the handlers of server and
// assessor are given a [bench.Tasting], which holds no key; opened keys are
// in one place, the vault, which only the preparer's and the lead's handlers
// reach.
package web
