//go:build !linux

package control

import "syscall"

// ownerOnly is possible on Linux only; elsewhere the umask decides until
// [Listen] sets the mode.
func ownerOnly(string, string, syscall.RawConn) error { return nil }

// groupOf is unknown here.
func groupOf(string) string { return "" }
