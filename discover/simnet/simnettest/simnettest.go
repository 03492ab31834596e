// Package simnettest starts simulated agents for the length of a test and finds
// recordings of real devices for them.
package simnettest

import (
	"compress/gzip"
	"context"
	"io"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
)

// debianSwitch is a recording of a 48-port PoE switch that Debian's package
// snmpsim carries.
const debianSwitch = "/usr/share/doc/snmpsim/examples/data/cisco_16_switch.snmprec.gz"

// Start serves the agent on a free port of 127.0.0.1 until the test ends.
func Start(t testing.TB, a *simnet.Agent) netip.AddrPort {
	t.Helper()
	return serve(t, a.Serve)
}

// StartRelay serves the relay likewise.
func StartRelay(t testing.TB, r *simnet.Relay) netip.AddrPort {
	t.Helper()
	return serve(t, r.Serve)
}

func serve(t testing.TB, f func(context.Context, net.PacketConn) error) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- f(ctx, conn) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("serve %s: %v", conn.LocalAddr(), err)
		}
		conn.Close()
	})
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

// Recordings are the paths of all recordings on this machine: those below
// BOUNDWALK_WALKS, by default shared/walks beside the repository, and the one in
// Debian's package snmpsim. There may be none.
func Recordings(t testing.TB) []string {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(walks(t), "*.snmprec"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(debianSwitch); err == nil {
		paths = append(paths, debianSwitch)
	}
	return paths
}

// Text is a recording as it stands in its file, unpacked.
func Text(t testing.TB, path string) string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(path, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Recording gives the rows of one recording, by its file name without suffix,
// or skips the test where that is not on this machine.
func Recording(t testing.TB, name string) []simnet.Row {
	t.Helper()
	path := filepath.Join(walks(t), name+".snmprec")
	if filepath.Base(debianSwitch) == name+".snmprec.gz" {
		path = debianSwitch
	}
	if _, err := os.Stat(path); err != nil {
		t.Skipf("no recording: %v", err)
	}
	rows, err := simnet.ReadRecording(path)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func walks(t testing.TB) string {
	t.Helper()
	if dir := os.Getenv("BOUNDWALK_WALKS"); dir != "" {
		return dir
	}
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(filepath.Dir(dir), "shared", "walks")
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
}
