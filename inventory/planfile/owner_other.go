//go:build !unix

package planfile

import "os"

// inOurGroups is false: this system has no groups of that kind.
func inOurGroups(os.FileInfo) bool { return false }
