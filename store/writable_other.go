//go:build !unix

package store

// mayWrite leaves the question to the first write.
func mayWrite(string) bool { return true }
