//go:build !linux

package store

// networkDrive cannot tell on this system; [Options.NoWAL] is the way out.
func networkDrive(string) string { return "" }

const knowsDrives = false
