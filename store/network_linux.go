package store

import (
	"path/filepath"

	"golang.org/x/sys/unix"
)

// networkTypes are the file system types, by the magic number of statfs(2),
// that reach their files over a network or through another program, where
// the shared memory a write-ahead log needs cannot be relied on
// (https://www.sqlite.org/wal.html, "All processes using a database must be
// on the same host computer"). Numbers: linux/magic.h and the statfs(2)
// manual page.
var networkTypes = map[int64]string{
	0x6969:     "NFS",
	0x517B:     "SMB",
	0xFF534D42: "CIFS",
	0xFE534D42: "SMB2",
	0x5346414F: "AFS",
	0x01021997: "9P",
	0x00C36400: "Ceph",
	0x65735546: "FUSE",
	0x73757245: "Coda",
	0x564C:     "NCP",
	0x0BD00BD0: "Lustre",
	0x7461636F: "OCFS2",
	0x01161970: "GFS2",
}

// networkDrive names the network file system a path lies on; "" when it is
// on a local disk.
func networkDrive(path string) string {
	var s unix.Statfs_t
	if err := unix.Statfs(path, &s); err != nil {
		if err := unix.Statfs(filepath.Dir(path), &s); err != nil {
			return ""
		}
	}
	return networkTypes[int64(uint32(s.Type))]
}

// knowsDrives reports whether networkDrive can tell on this system.
const knowsDrives = true
