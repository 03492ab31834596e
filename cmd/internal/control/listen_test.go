package control_test

import (
	"errors"
	"io/fs"
	"net"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"boundwalk/cmd/internal/control"
)

func TestListenModeAndGroup(t *testing.T) {
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	gid, err := strconv.Atoi(me.Gid)
	if err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() == 0 {
		gid = 1 // root may choose any: daemon, bin or the like
	}
	group, err := user.LookupGroupId(strconv.Itoa(gid))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "s")
	listener, err := control.Listen(t.Context(), path, group.Name)
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	info, err := os.Lstat(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := info.Mode(); got != fs.ModeSocket|0o660 {
		t.Errorf("mode %v", got)
	}
	if got := info.Sys().(*syscall.Stat_t).Gid; int(got) != gid {
		t.Errorf("group %d, want %d", got, gid)
	}
}

func TestListenStale(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	dead, err := net.ListenUnix("unix", &net.UnixAddr{Name: path, Net: "unix"})
	if err != nil {
		t.Fatal(err)
	}
	dead.SetUnlinkOnClose(false)
	if _, err := control.Listen(t.Context(), path, ""); !errors.Is(err, control.ErrInUse) {
		t.Fatalf("beside a daemon that lives: %v", err)
	}
	dead.Close()
	if _, err := (control.Client{Path: path}).Status(t.Context()); !errors.Is(err, control.ErrNoDaemon) {
		t.Fatalf("a dead daemon's socket: %v", err)
	}
	listener, err := control.Listen(t.Context(), path, "")
	if err != nil {
		t.Fatalf("after a dead daemon: %v", err)
	}
	listener.Close()
}

func TestListenRefuses(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "plan.yaml")
	if err := os.WriteFile(file, []byte("site: {}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, test := range map[string]struct{ path, group, want string }{
		"a file":           {file, "", "no socket"},
		"a directory":      {dir, "", "no socket"},
		"no directory":     {filepath.Join(dir, "run", "s"), "", "no such file"},
		"a long path":      {filepath.Join(dir, strings.Repeat("x", 120)), "", "at most 107"},
		"an unknown group": {filepath.Join(dir, "s"), "no-such-group", "no-such-group"},
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := control.Listen(t.Context(), test.path, test.group); err == nil || !strings.Contains(err.Error(), test.want) {
				t.Fatalf("got %v, want %q", err, test.want)
			}
		})
	}
	if text, err := os.ReadFile(file); err != nil || string(text) != "site: {}\n" {
		t.Fatalf("the file is %q, %v", text, err)
	}
	if _, err := os.Lstat(filepath.Join(dir, "s")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a socket is left: %v", err)
	}
}

func TestNoDaemon(t *testing.T) {
	client := control.Client{Path: filepath.Join(t.TempDir(), "s")}
	if _, err := client.Run(t.Context(), nil); !errors.Is(err, control.ErrNoDaemon) {
		t.Fatalf("got %v", err)
	}
}
