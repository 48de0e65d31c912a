// Package store keeps the notebook: studies, cooks, traces, raw logs,
// tastings and their history in one SQLite file.
//
// Start with [Create] for a new file or [Open] for one that exists; both
// return a [*Notebook], which implements [bench.Notebook]. Each Put is one
// transaction, on disk before it returns. A process has one writing
// connection; other processes may write the same notebook, and wait for
// each other for [Options.BusyTimeout].
//
// Errors are *fault.Error with one of these codes:
//
//	notebook-missing   no file, or no folder to make it in
//	notebook-exists    Create found a file there
//	notebook-corrupt   not a notebook, truncated or damaged
//	notebook-newer     written by a newer trivet
//	notebook-older     opened read-only, and needs a migration first
//	notebook-locked    another process held it for longer than the timeout
//	notebook-readonly  cannot be written
//	notebook-unreadable  cannot be read
//	notebook-io        the disk failed
//	disk-full          no room; nothing of the transaction was kept
//	study-unknown, cook-unknown, raw-unknown, session-unknown
//	id-conflict        a known id with different content
//	label-taken        a second cook with the same label in a study
//	sealed-already     a second, different seal
//	history-broken     a history whose hashes do not chain
//
// The schema is documented in docs/notebook.md; tables may be read by any
// SQLite client. Notebooks of older schema versions are migrated on Open,
// after a dated copy.
package store
