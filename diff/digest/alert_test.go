package digest_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/diff/digest"
)

func TestAlert(t *testing.T) {
	cam := busy(t).Episodes[0]
	radio := busy(t).Episodes[1]
	unknown := digest.Episode{Finding: diff.New(diff.UnknownDevice, evil), Opened: monday.Add(-time.Minute)}
	unknown.Finding.Severity = diff.Urgent
	over := cam
	over.Cleared = monday
	for _, test := range []struct {
		name    string
		news    digest.News
		subject string
		secret  bool
		words   []string
	}{
		{"one camera", digest.News{Opened: []digest.Episode{cam}}, "Tern Quay: urgent: slip-cam is missing", true,
			[]string{"URGENT     slip-cam is missing (quay-switch/5)", "since Sun 22 Nov 02:00", "caution: The camera hangs over the slip"}},
		{"several", digest.News{Opened: []digest.Episode{cam, radio}}, "Tern Quay: 2 urgent", true, nil},
		{"a device's own words stay out", digest.News{Opened: []digest.Episode{unknown}}, "Tern Quay: urgent: unknown device", false, nil},
		{"over", digest.News{Over: []digest.Episode{over}}, "Tern Quay: over: slip-cam is missing", true,
			[]string{"over:     slip-cam is missing (quay-switch/5): until Mon 23 Nov 08:00,", "after 30 h 00 min"}},
		{"both", digest.News{Opened: []digest.Episode{radio}, Over: []digest.Episode{over}},
			"Tern Quay: urgent: quay-radio is missing, with 3 behind it, over: slip-cam is missing", true, nil},
		{"an outage", digest.News{Notes: []string{"The internet line was down."}}, "Tern Quay: news", false, []string{"! The internet line was down."}},
	} {
		t.Run(test.name, func(t *testing.T) {
			test.news.Plan, test.news.Now = quiet(t).Plan, monday
			d, err := digest.Alert(test.news)
			if err != nil {
				t.Fatal(err)
			}
			if d.Subject != test.subject {
				t.Errorf("subject %q, want %q", d.Subject, test.subject)
			}
			if d.Confidential != test.secret {
				t.Errorf("confidential: %v", d.Confidential)
			}
			for _, w := range test.words {
				if !strings.Contains(d.Text, w) {
					t.Errorf("%q is not in\n%s", w, d.Text)
				}
			}
			if text, page := letters(d.Text), letters(seen(t, d.HTML)); text != page {
				t.Errorf("text:\n%s\nHTML:\n%s", text, page)
			}
		})
	}
}

func TestAlertGolden(t *testing.T) {
	in := busy(t)
	d, err := digest.Alert(digest.News{Plan: in.Plan, Opened: in.Episodes[:2], Now: monday})
	if err != nil {
		t.Fatal(err)
	}
	got, path := "Subject: "+d.Subject+"\n\n"+d.Text, filepath.Join("testdata", "alert.txt")
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want, err := os.ReadFile(path); err != nil || got != string(want) {
		t.Errorf("%v\n%s", err, got)
	}
}
