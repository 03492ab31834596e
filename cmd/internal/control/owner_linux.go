package control

import (
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// ownerOnly sets the mode that the socket's file will be made with. On Linux
// bind(2) takes it from the socket, less the umask.
func ownerOnly(_, _ string, raw syscall.RawConn) error {
	var result error
	err := raw.Control(func(fd uintptr) { result = syscall.Fchmod(int(fd), 0o600) })
	if err != nil {
		return err
	}
	return result
}

// groupOf names the group that may use the socket: its own or, where it cannot
// be seen, that of the directory that closes the way. "" means unknown.
func groupOf(path string) string {
	info, err := os.Stat(path)
	for err != nil && path != filepath.Dir(path) {
		path = filepath.Dir(path)
		info, err = os.Stat(path)
	}
	if err != nil {
		return ""
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	gid := strconv.FormatUint(uint64(stat.Gid), 10)
	if group, err := user.LookupGroupId(gid); err == nil {
		return group.Name
	}
	return gid
}
