package simnet

import (
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"
)

func faulty(t *testing.T, f Faults) *session {
	t.Helper()
	s := newTestSession(t, AgentOptions{Communities: []string{"public"}, Rows: arpTable()})
	if err := s.SetFaults(f); err != nil {
		t.Fatal(err)
	}
	return s
}

func bulkOf(n uint32) gosnmp.SnmpPacket {
	return gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetBulkRequest, MaxRepetitions: n}
}

const column = ".1.3.6.1.2.1.4.22.1.4"

func TestLargeBulkIsIgnored(t *testing.T) {
	s := faulty(t, Faults{IgnoreBulkOver: 16})
	if r := ask(t, s, bulkOf(17), column); r != nil {
		t.Errorf("17: %s", said(r))
	}
	if r := ask(t, s, bulkOf(16), column); r == nil || len(r.Variables) == 0 {
		t.Errorf("16: %s", said(r))
	}
	if c := s.Counts(); c.Suppressed != 1 || c.GetBulk != 2 || c.Malformed != 0 {
		t.Errorf("counts %+v", c)
	}
}

func TestLargeBulkIsTooBig(t *testing.T) {
	s := faulty(t, Faults{TooBigOver: 4})
	if got := said(ask(t, s, bulkOf(5), column)); got != "TooBig at 0" {
		t.Errorf("5: %s", got)
	}
	if r := ask(t, s, bulkOf(4), column); r.Error != gosnmp.NoError || len(r.Variables) != 4 {
		t.Errorf("4: %s", said(r))
	}
	if r := ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetNextRequest}, column); len(r.Variables) != 1 {
		t.Errorf("next: %s", said(r))
	}
}

func TestEndlessRows(t *testing.T) {
	const names = ".1.3.6.1.2.1.31.1.1.1.1"
	for _, c := range []struct {
		name  string
		cycle []uint32
		rows  int
		want  string // indices of the first rows
	}{
		{"a cycle", []uint32{1, 2, 3}, 0, "1 2 3 1 2 3 1"},
		{"the same row again", []uint32{7}, 0, "7 7 7 7"},
		{"always another", nil, 0, "1 2 3 4 5"},
		{"always another, one at a time", nil, 1, "1 2 3 4 5"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := faulty(t, Faults{Endless: &Endless{Under: names, Cycle: c.cycle}, BulkRows: c.rows})
			var got []string
			for at := names; len(got) < len(strings.Fields(c.want)); {
				r := ask(t, s, bulkOf(3), at)
				if c.rows > 0 && len(r.Variables) != c.rows {
					t.Fatalf("%d rows in one answer", len(r.Variables))
				}
				for _, v := range r.Variables {
					got = append(got, strings.TrimPrefix(v.Name, names+"."))
					at = v.Name
				}
			}
			if got := strings.Join(got, " "); !strings.HasPrefix(got, c.want) {
				t.Errorf("got %s, want %s", got, c.want)
			}
			if r := ask(t, s, gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetNextRequest}, column); len(r.Variables) != 1 || !strings.HasPrefix(r.Variables[0].Name, column) {
				t.Errorf("elsewhere: %s", said(r))
			}
		})
	}
}

func TestAnswersToAnotherQuestion(t *testing.T) {
	s := faulty(t, Faults{Rename: map[string]string{"1.3.6.1.2.1.1.5.0": "1.3.6.1.2.1.1.3.0"}})
	get := gosnmp.SnmpPacket{Version: gosnmp.Version2c, PDUType: gosnmp.GetRequest}
	if got := said(ask(t, s, get, ".1.3.6.1.2.1.1.5.0")); got != ".1.3.6.1.2.1.1.3.0=123456" {
		t.Errorf("got %s", got)
	}
}

func TestAlteredAnswers(t *testing.T) {
	s := faulty(t, Faults{WrongRequestID: 1, Alter: func(p *gosnmp.SnmpPacket) { p.Community, p.Variables = "private", nil }})
	q := gosnmp.SnmpPacket{Version: gosnmp.Version2c, Community: "public", PDUType: gosnmp.GetRequest, RequestID: 77, Variables: []gosnmp.SnmpPDU{{Name: column, Type: gosnmp.Null}}}
	b, err := q.MarshalMsg()
	if err != nil {
		t.Fatal(err)
	}
	out, _ := s.answer(b)
	r, err := s.open.SnmpDecodePacket(out)
	if err != nil {
		t.Fatal(err)
	}
	if r.RequestID != 78 || r.Community != "private" || len(r.Variables) != 0 {
		t.Errorf("request ID %d, community %q, %s", r.RequestID, r.Community, said(r))
	}
}

func TestMalformedSettings(t *testing.T) {
	a, err := NewAgent(AgentOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for name, err := range map[string]error{
		"rename from": a.SetFaults(Faults{Rename: map[string]string{"x": "1.3"}}),
		"rename to":   a.SetFaults(Faults{Rename: map[string]string{"1.3": "x"}}),
		"endless":     a.SetFaults(Faults{Endless: &Endless{}}),
		"set":         a.Set(Row{"1.3.x", Integer(1)}),
		"set rows":    a.SetRows([]Row{{"1.3.1", OID("")}}),
		"delete":      a.Delete("x"),
	} {
		if err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	_, err = NewAgent(AgentOptions{
		Engine: "four", Communities: []string{"", strings.Repeat("c", 128)}, Rows: []Row{{"1", Integer(1)}},
		Users: []User{
			{}, {Name: "short", Auth: gosnmp.SHA, AuthPass: "1234567"}, {Name: "bare", Priv: gosnmp.AES, PrivPass: "neap tide"},
			{Name: "odd", Auth: 99, AuthPass: "rising tide"}, {Name: "odder", Auth: gosnmp.SHA, AuthPass: "rising tide", Priv: 99, PrivPass: "neap tide"},
		},
	})
	for _, w := range []string{"engine ID of 4", "community of 0", "community of 128", `"1"`, "name of 0", `"short"`, `"bare"`, `"odd"`, `"odder"`} {
		if err == nil || !strings.Contains(err.Error(), w) {
			t.Errorf("error %v does not say %q", err, w)
		}
	}
}
