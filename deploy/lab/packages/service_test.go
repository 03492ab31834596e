package packages_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

const unit = repository + "/deploy/systemd/boundwalk.service"

// installUnit copies the unit to a folder, with drop-ins where there are, and
// with a program that exists everywhere in place of ours.
func installUnit(t *testing.T, dropIns ...string) string {
	t.Helper()
	dir := t.TempDir()
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("ExecStart=/usr/bin/boundwalk"), []byte("ExecStart=/bin/true"), 1)
	path := filepath.Join(dir, "boundwalk.service")
	if err := os.WriteFile(path, text, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, d := range dropIns {
		text, err := os.ReadFile(filepath.Join(filepath.Dir(unit), d))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(path+".d", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(path+".d", d), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

var overall = regexp.MustCompile(`Overall exposure level for boundwalk\.service: ([0-9.]+)`)

// The exposure as systemd 252 reckons it, from 0 to 10. The unit's own is what
// the network (0.5), addresses (0.2), the families of sockets, and the one
// capability leave; see deploy/README.md.
func TestServiceExposure(t *testing.T) {
	need(t, "systemd-analyze")
	tests := []struct {
		name    string
		dropIns []string
		atMost  float64
	}{
		{"the unit", nil, 1.6},
		{"with the drop-in for local mail", []string{"local-mail.conf"}, 1.5},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			out := output(t, "systemd-analyze", "security", "--offline=true", "--no-pager", installUnit(t, tt.dropIns...))
			m := overall.FindStringSubmatch(out)
			if m == nil {
				t.Fatalf("no exposure in:\n%s", out)
			}
			if got, err := strconv.ParseFloat(m[1], 64); err != nil || got > tt.atMost {
				t.Errorf("exposure %s, want at most %.1f (%v)\n%s", m[1], tt.atMost, err, out)
			}
		})
	}
}

// Words that this systemd does not know are warnings, and the daemon would start without them.
func TestServiceVerifies(t *testing.T) {
	need(t, "systemd-analyze")
	out, err := exec.CommandContext(t.Context(), "systemd-analyze", "verify", "--man=no", installUnit(t, "local-mail.conf")).CombinedOutput()
	var about []string
	for line := range strings.Lines(string(out)) {
		if strings.Contains(line, "boundwalk") { // other units of the machine are its own affair
			about = append(about, line)
		}
	}
	if err != nil || len(about) > 0 {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
}

// The store makes the logbook with mode 0640, so that the group can read it.
func TestServiceUmask(t *testing.T) {
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`(?m)^UMask=([0-7]+)$`).FindSubmatch(text)
	if m == nil {
		t.Fatal("the unit sets no UMask")
	}
	mask, err := strconv.ParseUint(string(m[1]), 8, 32)
	if err != nil {
		t.Fatal(err)
	}
	if got := 0o666 &^ mask; got != 0o640 {
		t.Errorf("a new file of the service has at most mode %#o, want 0640", got)
	}
}
