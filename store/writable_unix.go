//go:build unix

package store

import "golang.org/x/sys/unix"

// mayWrite reports whether the process may write a file or folder. It asks
// without opening it: closing any descriptor of a database file would drop
// the locks this process holds on it (https://www.sqlite.org/howtocorrupt.html §2.2).
func mayWrite(path string) bool { return unix.Access(path, unix.W_OK) == nil }
