package control

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"os/user"
	"strconv"
	"syscall"
	"time"
)

// maxPath is the room for a socket's path on Linux (unix(7)), without the zero
// at its end.
const maxPath = 107

// Listen opens the socket at path, whose directory must exist, for the owner
// and the group; "" leaves the group that the process has. A socket that a dead
// daemon left is replaced, one that answers is ErrInUse, and anything else at
// path is left alone. Two daemons that start in the same instant are not told
// apart here, but by the logbook that both want.
func Listen(ctx context.Context, path, group string) (net.Listener, error) {
	if len(path) > maxPath {
		return nil, fmt.Errorf("control: listen at %s: the path has %d bytes, a socket's at most %d", path, len(path), maxPath)
	}
	if err := clearStale(ctx, path); err != nil {
		return nil, fmt.Errorf("control: listen at %s: %w", path, err)
	}
	// Closed to others from its first moment; opened to the group at the end.
	config := net.ListenConfig{Control: ownerOnly}
	listener, err := config.Listen(ctx, "unix", path)
	if err != nil {
		return nil, fmt.Errorf("control: listen at %s: %w", path, err)
	}
	if err := letIn(path, group); err != nil {
		listener.Close()
		return nil, fmt.Errorf("control: listen at %s: %w", path, err)
	}
	return listener, nil
}

// clearStale takes a dead daemon's socket away.
func clearStale(ctx context.Context, path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Mode().Type() != fs.ModeSocket {
		return errors.New("something that is no socket is there")
	}
	dialer := net.Dialer{Timeout: 2 * time.Second}
	conn, err := dialer.DialContext(ctx, "unix", path)
	if err == nil {
		conn.Close()
		return ErrInUse
	}
	if !errors.Is(err, syscall.ECONNREFUSED) {
		return fmt.Errorf("a socket is there, and whether a daemon has it is unknown: %w", err)
	}
	return os.Remove(path)
}

// letIn lets the group in.
func letIn(path, group string) error {
	if group != "" {
		found, err := user.LookupGroup(group)
		if err != nil {
			return err
		}
		gid, err := strconv.Atoi(found.Gid)
		if err != nil {
			return fmt.Errorf("group %s: its number is %q", group, found.Gid)
		}
		if err := os.Chown(path, -1, gid); err != nil {
			return err
		}
	}
	return os.Chmod(path, 0o660)
}
