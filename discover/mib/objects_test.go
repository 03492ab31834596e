package mib_test

import (
	"fmt"
	"strings"
	"testing"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

const own = "1.3.6.1.4.1.99999.1."

func ownRows() []simnet.Row {
	return []simnet.Row{
		words("1.3.6.1.2.1.1.5.0", "boatyard-link"),
		number(own+"1.7", 129), number(own+"1.8", -4), number(own+"1.9", 40000),
		number(own+"2.3.5", 12950), number(own+"2.4", 700),
		number(own+"3.0", -61), words(own+"4.0", "-63.5 dBm"), words(own+"5.0", "n/a"), number(own+"6.0", 60),
		{OID: own + "7.0", Value: simnet.Gauge32(117)}, {OID: own + "8.0", Value: simnet.Counter32(117)},
		number(own+"10.1.2.3", 5),
	}
}

func ownObjects() []inventory.PlanObject {
	return []inventory.PlanObject{
		{Use: "power", OID: own + "1", Index: "interface", Unit: "dW", Scale: 100},
		{Use: "power", OID: own + "2", Index: "pse", Unit: "mW", Scale: 1},
		{Use: "level", OID: own + "3", Index: "none", Unit: "dBm", Scale: 1},
		{Use: "level", OID: own + "4.0", Index: "none", Unit: "dBm"},
		{Use: "level", OID: own + "5", Index: "none", Unit: "dBm", Scale: 1},
		{Use: "level", OID: own + "6", Index: "none", Unit: "dBm", Scale: 1},
		{Use: "rate", OID: own + "7", Index: "none", Unit: "Mbit/s", Scale: 1e6},
		{Use: "rate", OID: own + "8", Index: "none", Unit: "Mbit/s", Scale: 1e6},
		{Use: "power", OID: own + "9", Index: "port", Unit: "mW", Scale: 1},
		{Use: "power", OID: own + "10", Index: "port", Unit: "mW", Scale: 1},
		{Use: "power", OID: "1.3", Index: "port", Unit: "mW", Scale: 1}, // half of all that an agent has
		{Use: "power", OID: "no.such.object", Index: "port", Unit: "mW", Scale: 1},
	}
}

func TestPlannedObjects(t *testing.T) {
	objects := ownObjects()
	c := dial(t, agent(t, ownRows()...), snmp.Options{})
	want := strings.TrimSpace(`
power interface 0.7: 12900
power interface 0.8: a power of -400 mW cannot be
power interface 0.9: a power of 4e+06 mW cannot be
power pse 3.5: 12950
power pse 1.4: 700
level none 0.0: -61
level none 0.0: -63.5
level none 0.0: "n/a" is no number
level none 0.0: a level of 60 dBm cannot be
rate none 0.0: 1.17e+08
rate none 0.0: a Counter32 is no reading
power port 0.0: the agent has no 1.3.6.1.4.1.99999.1.9
power port 0.0: row 1.3.6.1.4.1.99999.1.10.1.2.3 has no index of kind port
power port 0.0: object "1.3" is too short`)
	for name, read := range map[string]func() mib.Reading{
		"full": func() mib.Reading {
			return mib.Collect(t.Context(), c, mib.Request{Device: "boatyard-link", Objects: objects})
		},
		"pulse": func() mib.Reading {
			return mib.Pulse(t.Context(), c, mib.Request{Device: "boatyard-link", Objects: objects})
		},
	} {
		got := read()
		checkCoverage(t, got)
		var lines []string
		for _, o := range got.Agent.Objects {
			s := fmt.Sprintf("%s %s %d.%d: %s", o.Use, o.Kind, o.Group, o.Index, o.Why)
			if o.Value != nil {
				s += fmt.Sprintf("%g", *o.Value)
			}
			lines = append(lines, s)
		}
		if s := strings.Join(lines[:len(lines)-1], "\n"); s != want {
			t.Errorf("%s:\n%s", name, s)
		}
		if last := lines[len(lines)-1]; !strings.Contains(last, "no.such.object") {
			t.Errorf("%s: %s", name, last)
		}
		equal(t, name, got.Agent.Tables[inventory.TableObjects], inventory.Complete)
	}

	got := mib.Collect(t.Context(), c, mib.Request{Objects: objects[8:9]})
	equal(t, "nothing of it", got.Agent.Tables[inventory.TableObjects], inventory.NotOffered)
	got = mib.Collect(t.Context(), c, mib.Request{Objects: objects[2:3]})
	equal(t, "a single one", got.Agent.Tables[inventory.TableObjects], inventory.Complete)
	got = mib.Collect(t.Context(), c, mib.Request{})
	if r, asked := got.Agent.Tables[inventory.TableObjects]; asked {
		t.Errorf("no object is planned, yet the result is %s", r)
	}
}
