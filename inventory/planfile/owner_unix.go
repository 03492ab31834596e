//go:build unix

package planfile

import (
	"os"
	"slices"
	"syscall"
)

// inOurGroups reports whether the file's group is one of this process's.
func inOurGroups(info os.FileInfo) bool {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return false
	}
	groups, err := os.Getgroups()
	if err != nil {
		return false
	}
	return slices.Contains(append(groups, os.Getegid()), int(st.Gid))
}
