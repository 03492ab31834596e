package snmp_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"
)

// scoped is an agent with one context, in which it has another number of ports.
func scoped(t *testing.T) target {
	t.Helper()
	return start(t, simnet.AgentOptions{Communities: []string{"public"}, Users: []simnet.User{auditUser}, Rows: quayRows(4),
		Contexts: []simnet.Context{{Name: "vlan-10", Index: "10", Rows: quayRows(2)}}})
}

// A context is another view of the same agent, and its requests count for the agent. What
// is silent there is no silence of the agent.
func TestWithin(t *testing.T) {
	for version, cred := range map[string]snmp.Credentials{
		"1": {Version: "1", Community: "public"}, "2c": {Version: "2c", Community: "public"}, "3": auditor,
	} {
		t.Run(version, func(t *testing.T) {
			dev := scoped(t)
			c := dial(t, dev, cred, snmp.Options{})
			before := c.Stats().Requests
			in, err := c.Within(t.Context(), "vlan-10", "10")
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range []struct {
				c    *snmp.Client
				rows int
			}{{in, 2}, {c, 4}} {
				if got := x.c.Walk(t.Context(), ifIndex); got.Result != snmp.Complete || len(got.Rows) != x.rows {
					t.Errorf("%v, %d rows, want %d: %v", got.Result, len(got.Rows), x.rows, got.Err)
				}
			}
			if err := in.Close(); err != nil {
				t.Error(err)
			}
			want := snmp.ErrNoResponse
			if version == "3" {
				want = snmp.ErrUnknownContext
			}
			_, err = c.Within(t.Context(), "vlan-11", "11")
			if !errors.Is(err, want) {
				t.Errorf("an unknown context: %v, want %v", err, want)
			}
			if got := c.Walk(t.Context(), ifIndex); got.Result != snmp.Complete {
				t.Errorf("afterwards: %v, %v", got.Result, got.Err)
			}
			if sent, counted := dev.Counts().Received, c.Stats().Requests; sent != counted || counted < before+5 {
				t.Errorf("%d requests arrived, %d are counted", sent, counted)
			}
		})
	}
}

// Credentials that are of one context are not led to another, and no message has them.
func TestWithinOneContext(t *testing.T) {
	dev := scoped(t)
	c := dial(t, dev, snmp.Credentials{Version: "2c", Community: "public@10"}, snmp.Options{})
	if _, err := c.Within(t.Context(), "vlan-10", "10"); !errors.Is(err, snmp.ErrOneContext) {
		t.Errorf("got %v", err)
	}
	named := auditor
	named.Context = "vlan-10"
	c = dial(t, dev, named, snmp.Options{})
	if _, err := c.Within(t.Context(), "vlan-10", "10"); !errors.Is(err, snmp.ErrOneContext) {
		t.Errorf("got %v", err)
	}
	c = dial(t, dev, snmp.Credentials{Version: "2c", Community: "public"}, snmp.Options{Retries: -1})
	for _, index := range []string{"11", strings.Repeat("1", 200)} {
		_, err := c.Within(t.Context(), "vlan-11", index)
		if err == nil || strings.Contains(fmt.Sprintf("%v %+v", err, c), "public") {
			t.Errorf("got %v", err)
		}
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Within(t.Context(), "vlan-10", "10"); err == nil {
		t.Error("a closed client goes on")
	}
}

// What is kept of one device has one bound, whatever context it came from: once it is reached
// nothing more is asked.
func TestMaxTotal(t *testing.T) {
	dev := scoped(t)
	c := dial(t, dev, snmp.Credentials{Version: "2c", Community: "public"}, snmp.Options{MaxTotal: 300})
	if got := c.Walk(t.Context(), ifIndex); got.Result != snmp.Partial || len(got.Rows) != 4 { // of about 100 octets each
		t.Fatalf("%v, %d rows, %v", got.Result, len(got.Rows), got.Err)
	}
	in, err := c.Within(t.Context(), "vlan-10", "10")
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close() //nolint:errcheck // nothing was written
	before := dev.Counts().Received
	for _, x := range []*snmp.Client{c, in} {
		if got := x.Walk(t.Context(), ifDescr); len(got.Rows) > 0 || got.Err == nil || !strings.Contains(got.Err.Error(), "size limit") {
			t.Errorf("%v, %d rows, %v", got.Result, len(got.Rows), got.Err)
		}
	}
	if n := dev.Counts().Received - before; n != 0 {
		t.Errorf("%d more requests", n)
	}
}
