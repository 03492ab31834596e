package login_test

import (
	"slices"
	"testing"

	"boundwalk/discover/login"
)

func TestOpenDoors(t *testing.T) {
	doors, line := login.OpenDoors([]login.DoorFacts{
		{Device: "slip-cam", Telnet: true, RTSPBasic: true},
		{Device: "quay-switch", Telnet: true, SNMPPlain: true, SNMPv3: true},
		{Device: "quay-radio", HTTPLogin: true, SNMPPlain: true}, // nothing better than v2c there
		{Device: "slip-cam", Telnet: true},                       // said twice
		{Device: "pontoon-radio", SNMPv3: true},
	})
	want := []login.Door{
		{"quay-radio", "HTTP login"},
		{"quay-switch", "telnet"},
		{"quay-switch", "SNMP v1/v2c beside v3"},
		{"slip-cam", "telnet"},
		{"slip-cam", "RTSP Basic"},
	}
	if !slices.Equal(doors, want) {
		t.Errorf("got %v, want %v", doors, want)
	}
	const text = "5 without encryption on 3 devices: telnet 2, HTTP login 1, RTSP Basic 1, SNMP v1/v2c beside v3 1"
	if line != text {
		t.Errorf("got %q, want %q", line, text)
	}
	if doors, line := login.OpenDoors(nil); doors != nil || line != "" {
		t.Errorf("nothing open gives %v, %q", doors, line)
	}
}

func TestFingerprintChanged(t *testing.T) {
	for _, c := range []struct {
		before, now string
		want        bool
	}{{"a", "b", true}, {"a", "a", false}, {"", "b", false}, {"a", "", false}} {
		if got := login.FingerprintChanged(c.before, c.now); got != c.want {
			t.Errorf("%q to %q: %v", c.before, c.now, got)
		}
	}
}
