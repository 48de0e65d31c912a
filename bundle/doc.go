// Package bundle reads and writes data packages: a study with everything its
// answer rests on, as a folder of plain files that anyone can open.
//
// [Export] writes a study of a notebook and [Write] a record in memory;
// [Open] reads a package back, or a plain folder with a study.yaml, as a
// [bench.Reader]. What is written and read again is unchanged, and writing it
// once more gives the same bytes.
//
// A package follows Frictionless Data Package v1 (datapackage.json, profile
// tabular-data-package), RFC 4180 CSV and RFC 3339 times. Its layout is
// described in docs/data-package.md.
//
// Errors are *fault.Error with the file, row, column and value. Their codes:
//
//	package-missing, package-exists, package-readonly, package-io, disk-full
//	package-file-missing  a file the package lists is not there
//	package-changed       a file is not the one that was written
//	package-manifest      the list of checksums cannot be read
//	package-descriptor    datapackage.json does not fit the files
//	package-newer         written by a newer trivet
//	package-seal          the seal is not that of the sealed plan
//	package-samples       samples are missing
//	package-path          a path that leads out of the folder
//	package-zip           a zip file that is damaged or unpacks to too much
//	csv-form, csv-column, csv-cells, csv-value
//	study-missing, study-unknown, cook-unknown, raw-unknown
//	log-missing, log-changed, log-map-missing (plain folders)
package bundle
