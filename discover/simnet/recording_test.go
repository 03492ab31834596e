package simnet_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
)

func TestRecordingNamesBadLines(t *testing.T) {
	for _, c := range []struct {
		name, text string
		rows       int
		want       []string // in the error; nil: none
	}{
		{"good, with comment, empty line and CR LF", "# walk\n\n1.3.6.1.2.1.1.5.0|4|a|b\r\n1.3.6.1.2.1.1.7.0|2|72\n", 2, nil},
		{"no last line break", "1.3.6.1.2.1.1.7.0|2|72", 1, nil},
		{"empty", "", 0, nil},
		{"NULL and opaque", "1.3.1|5|\n1.3.2|68x|9f780441c80000\n", 2, nil},
		{"one of three", "1.3.1|2|1\n1.3.2|2|x\n1.3.3|2|3\n", 2, []string{"line 2", "1.3.2"}},
		{"too few parts", "1.3.1|2\n", 0, []string{"line 1", "OID|tag|value"}},
		{"OID", "1.3.x|2|1\n", 0, []string{"line 1", "not an object identifier"}},
		{"OID as value", "1.3.1|6|1.3.x\n", 0, []string{"line 1", "not an object identifier"}},
		{"tag", "1.3.1|two|1\n", 0, []string{"line 1", "not a BER tag"}},
		{"tag of no SNMP type", "1.3.1|10|1\n", 0, []string{"line 1", "tag 10"}},
		{"variation", "1.3.1|2:numeric|rate=1\n", 0, []string{"line 1", "2:numeric"}},
		{"hexadecimal of odd length", "1.3.1|4x|abc\n", 0, []string{"line 1"}},
		{"hexadecimal number", "1.3.1|2x|0a\n", 0, []string{"line 1", "no hexadecimal form"}},
		{"integer over 32 bits", "1.3.1|2|2147483648\n", 0, []string{"line 1", "out of range"}},
		{"negative counter", "1.3.1|65|-1\n", 0, []string{"line 1"}},
		{"IPv6 as IpAddress", "1.3.1|64|2001:db8::1\n", 0, []string{"line 1", "not an IPv4 address"}},
		{"IpAddress of five octets", "1.3.1|64x|0102030405\n", 0, []string{"line 1", "5 octets"}},
		{"twice, in two styles", "1.3.1|2|1\n.1.3.1|2|2\n", 1, []string{"line 2", "stands in line 1"}},
		{"line without end", "1.3.1|2|1\n1.3.2|4|" + strings.Repeat("a", 300<<10), 1, []string{"line 2", "too long"}},
		{"many", strings.Repeat("?\n", 50), 0, []string{"line 1:", "line 20:", "and 30 more"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := simnet.LoadRecording(strings.NewReader(c.text))
			if len(rows) != c.rows {
				t.Errorf("%d rows, want %d", len(rows), c.rows)
			}
			if (err != nil) != (c.want != nil) || err != nil && !errors.Is(err, simnet.ErrRecording) {
				t.Fatalf("error %v", err)
			}
			for _, w := range c.want {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("error %q does not say %q", err, w)
				}
			}
		})
	}
}

func TestReadRecordingNamesTheFile(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"bad.snmprec": "1.3.1|2|one\n", "torn.snmprec.gz": "no gzip"} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := simnet.ReadRecording(path); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := simnet.ReadRecording(filepath.Join(dir, "none.snmprec")); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
}

func FuzzLoadRecording(f *testing.F) {
	for _, s := range []string{small, "1.3.1|4x|00ff\n1.3.1|2|1", "|||\n1|2|3", "1.3|64x|", "2.999|6|2.4294967295", "1.3|68x|9f78\r\n#", "1.3|70|18446744073709551616"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := simnet.LoadRecording(strings.NewReader(text))
		if err != nil && !errors.Is(err, simnet.ErrRecording) {
			t.Errorf("error of another kind: %v", err)
		}
		if _, err := simnet.NewAgent(simnet.AgentOptions{Rows: rows}); err != nil {
			t.Errorf("an agent refuses rows that were read: %v", err)
		}
	})
}
