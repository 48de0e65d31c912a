package store

import (
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"os"
)

func mountSmall(dir string) error {
	return syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=1m")
}

func unmount(dir string) { _ = syscall.Unmount(dir, syscall.MNT_DETACH) }

// asNobody makes a child run as a user without rights, from a copy of the
// test binary that this user may read.
func asNobody(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	dir, err := os.MkdirTemp("", "store-test-*")
	must(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	must(t, os.Chmod(dir, 0o755))
	copied := filepath.Join(dir, "store.test")
	b, err := os.ReadFile(cmd.Path)
	must(t, err)
	must(t, os.WriteFile(copied, b, 0o755))
	cmd.Path = copied
	cmd.Dir = dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}
