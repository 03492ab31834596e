package reach

import (
	"reflect"
	"testing"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv4"
)

func TestPTRNames(t *testing.T) {
	const question = "131.113.0.203.in-addr.arpa."
	tests := map[string]struct {
		records []string
		want    []string
	}{
		"one": {[]string{question + " 60 IN PTR slip-cam.tern-quay.example."}, []string{"slip-cam.tern-quay.example"}},
		"several": {[]string{question + " 60 IN PTR b.example.", question + " 60 IN PTR a.example.",
			question + " 60 IN PTR a.example."}, []string{"a.example", "b.example"}},
		"another question's": {[]string{"1.113.0.203.in-addr.arpa. 60 IN PTR b.example."}, nil},
		"behind an alias (RFC 2317)": {[]string{question + " 60 IN CNAME 131.128-26." + question,
			"131.128-26." + question + " 60 IN PTR a.example."}, []string{"a.example"}},
		"the root is no name": {[]string{question + " 60 IN PTR ."}, nil},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			var m dns.Msg
			for _, text := range test.records {
				rr, err := dns.NewRR(text)
				if err != nil {
					t.Fatal(err)
				}
				m.Answer = append(m.Answer, rr)
			}
			if got := ptrNames(&m, question); !reflect.DeepEqual(got, test.want) {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

func FuzzParseTime(f *testing.F) {
	f.Add([]byte(`<Envelope><Body><GetSystemDateAndTimeResponse><SystemDateAndTime><UTCDateTime><Time><Hour>1</Hour><Minute>2</Minute><Second>3</Second></Time><Date><Year>2026</Year><Month>3</Month><Day>4</Day></Date></UTCDateTime></SystemDateAndTime></GetSystemDateAndTimeResponse></Body></Envelope>`))
	f.Add([]byte(`<Envelope>`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if got, err := parseTime(b); err == nil && (got.Year() < 1970 || got.Year() > 2200 || got.Location() != time.UTC) {
			t.Errorf("took %v", got)
		}
	})
}

func FuzzParseReply(f *testing.F) {
	var want token
	copy(want[:], "sixteen octets!!")
	good, err := (&icmp.Message{Type: ipv4.ICMPTypeEchoReply, Body: &icmp.Echo{ID: 1, Seq: 2, Data: want[:]}}).Marshal(nil)
	if err != nil {
		f.Fatal(err)
	}
	if got, ok := parseReply(good, 1, ipv4.ICMPTypeEchoReply); !ok || got != want {
		f.Fatalf("got %q %v", got, ok)
	}
	f.Add(good)
	f.Add(good[:20])
	f.Add([]byte{0})
	f.Fuzz(func(t *testing.T, b []byte) {
		if got, ok := parseReply(b, 1, ipv4.ICMPTypeEchoReply); ok && (len(b) < 8+len(got) || token(b[8:8+len(got)]) != got) {
			t.Errorf("took %q from %q", got, b)
		}
	})
}
