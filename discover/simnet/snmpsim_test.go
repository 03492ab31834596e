package simnet_test

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
)

func baseName(path string) string {
	name, _, _ := strings.Cut(filepath.Base(path), ".")
	return name
}

// Oracle: snmpsim (snmpsimd), which replays the same files to the same client:
// the same rows in the same order.
func TestSNMPSimReplaysTheSame(t *testing.T) {
	recordings := make(map[string][]simnet.Row)
	for _, name := range []string{"camera-a", "ups-a", "media-converter-nul-strings"} {
		recordings[name] = simnettest.Recording(t, name)
	}
	sim := startSNMPSim(t, recordings)
	for name, rows := range recordings {
		t.Run(name, func(t *testing.T) {
			_, at := newAgent(t, simnet.AgentOptions{Communities: []string{name}, Rows: rows})
			walk := func(at string) []string {
				out, errs := netsnmp(t, "snmpbulkwalk", "-v2c", "-c"+name, "-Cr20", at, ".1")
				if errs != "" {
					t.Fatal(errs)
				}
				return withoutEnd(oneLine(out))
			}
			want := walk(sim)
			sameLines(t, walk(at.String()), want)
			if len(want) != len(rows) {
				t.Errorf("snmpsim answered %d rows of %d", len(want), len(rows))
			}
		})
	}
}

// startSNMPSim runs snmpsimd on recordings until the test ends. Clients repeat
// their first request until it is up.
func startSNMPSim(t *testing.T, recordings map[string][]simnet.Row) string {
	t.Helper()
	bin := tool(t, "snmpsimd")
	data := t.TempDir()
	for _, path := range simnettest.Recordings(t) {
		if recordings[baseName(path)] == nil {
			continue
		}
		if err := os.WriteFile(filepath.Join(data, baseName(path)+".snmprec"), []byte(simnettest.Text(t, path)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	free, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := free.LocalAddr().String()
	free.Close()
	args := []string{"--data-dir=" + data, "--cache-dir=" + data, "--agent-udpv4-endpoint=" + at, "--logging-method=null"}
	if os.Getuid() == 0 { // snmpsimd refuses to stay root
		for dir := data; dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
			if err := os.Chmod(dir, 0o777); err != nil {
				t.Fatal(err)
			}
		}
		args = append(args, "--process-user=nobody", "--process-group=nogroup")
	}
	cmd := exec.CommandContext(t.Context(), bin, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait() // an error tells of the kill
	})
	return at
}
