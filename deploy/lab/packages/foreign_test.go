package packages_test

import (
	"bytes"
	"context"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The programs for other processors run, emulated: they start, and the demo
// asks its agents on loopback, keeps a logbook and says what differs.
func TestForeignBinaries(t *testing.T) {
	tests := []struct{ arch, emulator, platform string }{
		{"arm64", "qemu-aarch64-static", "linux/arm64"},
		{"armhf", "qemu-arm-static", "linux/arm"},
	}
	for _, tt := range tests {
		t.Run(tt.arch, func(t *testing.T) {
			need(t, tt.emulator, "dpkg-deb")
			program := filepath.Join(unpacked(t, tt.arch), "usr/bin/boundwalk")
			// It takes some six seconds; the bound is for an emulator that hangs.
			ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
			defer cancel()
			run := func(args ...string) string {
				var stdout, stderr bytes.Buffer
				c := exec.CommandContext(ctx, tt.emulator, append([]string{program}, args...)...)
				c.Stdout, c.Stderr = &stdout, &stderr
				if err := c.Run(); err != nil {
					t.Fatalf("boundwalk %q: %v\n%s", args, err, stderr.String())
				}
				return stdout.String()
			}
			if got := run("version"); !strings.Contains(got, "1.2.3") || !strings.Contains(got, tt.platform+")") {
				t.Errorf("version: %q, want 1.2.3 and %s", got, tt.platform)
			}
			if got := run("demo"); !strings.Contains(got, "quay-switch") {
				t.Errorf("the demo names no quay-switch:\n%s", got)
			}
		})
	}
}
