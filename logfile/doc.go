// Package logfile reads the logs of thermometers and scales into traces, and
// any delimited table into typed columns.
//
// [Inspect] is the dry run: it shows what a file seems to be, column by
// column, with the reason for each guess. [Load] reads it, by that guess or by
// a [Map] that was corrected and saved, and accounts for every row and cell it
// could not use. [NewFollower] reads a log as it grows. [ReadColumns] is the
// table reader below [Load].
//
// A file may be wide or long; cut by comma, semicolon, tab or bar; with
// decimal points or commas; in UTF-8, UTF-16 or an 8-bit code; plain, gzip or
// zstd; JSON Lines and workbooks are read as the table they hold. Nothing is
// taken from a file's name. Memory is bounded by [Limits].
package logfile
