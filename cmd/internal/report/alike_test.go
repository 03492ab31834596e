package report_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
)

// Findings that differ in what and where alone share the rest; one that is newer
// than they are keeps an entry of its own, and so do a few.
func TestManyAlike(t *testing.T) {
	first := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	unknown := func(n int, since time.Time) diff.Finding {
		f := diff.New(diff.UnknownDevice, fmt.Sprintf("00:00:5e:00:53:%02x", n))
		f.Where, f.Expected, f.Since = fmt.Sprintf("quay-switch/%d", n), "nothing that the plan does not name", since
		f.Observed = fmt.Sprintf("on port %d of quay-switch", n)
		f.Advice = fmt.Sprintf("if it is yours, \"boundwalk accept %s\" takes it in", f.Key)
		return f
	}
	text := func(fs []diff.Finding) string {
		t.Helper()
		var b bytes.Buffer
		if err := report.Findings(&b, fs, nil, time.UTC, report.Style{}); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	var fs []diff.Finding
	for n := range 6 {
		fs = append(fs, unknown(n+1, first))
	}
	got := text(append(fs, unknown(9, first.Add(time.Hour))))
	for k := range fs {
		if want := fmt.Sprintf("unknown device 00:00:5e:00:53:%02x (quay-switch/%d)\n    found    on port %d", k+1, k+1, k+1); !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if n := strings.Count(got, "planned  "); n != 2 {
		t.Errorf("what was planned is said %d times, want once for six and once for the newer one:\n%s", n, got)
	}
	for _, want := range []string{"for each of these 6\n", "accept unknown-device/NAME\"", "key      unknown-device/00:00:5e:00:53:09\n"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if got := text(fs[:3]); strings.Count(got, "planned  ") != 3 || strings.Contains(got, "for each") {
		t.Errorf("three are told together:\n%s", got)
	}
}
