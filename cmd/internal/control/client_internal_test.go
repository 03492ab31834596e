package control

import (
	"io"
	"strings"
	"testing"
)

func TestFollow(t *testing.T) {
	for name, test := range map[string]struct {
		stream string
		exit   int
		err    string
	}{
		"nothing":          {"", 0, "ended before"},
		"half a line":      {`{"event":"done","ex`, 0, "not JSON"},
		"progress only":    {`{"event":"progress","text":"x"}` + "\n", 0, "ended before"},
		"unknown event":    {`{"event":"weather"}` + "\n\n" + `{"event":"done","exit":4}` + "\n", 4, ""},
		"words after done": {`{"event":"done","exit":3}` + "\n}", 3, ""},
		"exit of a word":   {`{"event":"done","exit":"3"}`, 0, "not JSON"},
		"failed":           {`{"event":"failed","error":"no plan"}`, 0, "no plan"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := follow(strings.NewReader(test.stream), nil)
			if (err == nil) != (test.err == "") || err != nil && !strings.Contains(err.Error(), test.err) || got.Exit != test.exit {
				t.Fatalf("got %+v, %v", got, err)
			}
		})
	}
	if _, err := follow(io.LimitReader(endless{}, maxReport+1), nil); err == nil || !strings.Contains(err.Error(), "too long") {
		t.Errorf("a line without end: %v", err)
	}
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

func FuzzFollow(f *testing.F) {
	for _, seed := range []string{`{"event":"progress","text":"x","done":1,"total":2}`, `{"event":"done","exit":0,"report":{}}`, "null", "[]\n{}", "\x00"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, stream string) {
		if _, err := follow(strings.NewReader(stream), func(Progress) {}); err == nil && !strings.Contains(stream, "done") {
			t.Fatalf("%q counts as done", stream)
		}
	})
}
