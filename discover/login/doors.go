package login

import (
	"fmt"
	"slices"
	"strings"
)

// DoorFacts is what a run saw of one device's management.
type DoorFacts struct {
	Device    string
	Telnet    bool // port 23 accepts connections
	HTTPLogin bool // a login is asked for over HTTP without TLS
	RTSPBasic bool // RTSP asks for Basic without TLS
	SNMPPlain bool // SNMPv1 or v2c is answered
	SNMPv3    bool // SNMPv3 is offered
}

// Door is one kind of unencrypted management at one device.
type Door struct{ Device, Kind string }

// OpenDoors lists unencrypted management by device and kind, and counts it in one line for
// people, "" where there is none. SNMPv1 and v2c count where v3 is offered as well:
// elsewhere there is nothing better to switch to.
func OpenDoors(facts []DoorFacts) (doors []Door, line string) {
	kinds := []struct {
		name string
		open func(DoorFacts) bool
	}{
		{"telnet", func(f DoorFacts) bool { return f.Telnet }},
		{"HTTP login", func(f DoorFacts) bool { return f.HTTPLogin }},
		{"RTSP Basic", func(f DoorFacts) bool { return f.RTSPBasic }},
		{"SNMP v1/v2c beside v3", func(f DoorFacts) bool { return f.SNMPPlain && f.SNMPv3 }},
	}
	var counts []string
	devices := map[string]bool{}
	for _, k := range kinds {
		n := 0
		for _, f := range facts {
			if d := (Door{f.Device, k.name}); k.open(f) && !slices.Contains(doors, d) {
				doors = append(doors, d)
				devices[f.Device] = true
				n++
			}
		}
		if n > 0 {
			counts = append(counts, fmt.Sprintf("%s %d", k.name, n))
		}
	}
	if len(doors) == 0 {
		return nil, ""
	}
	slices.SortStableFunc(doors, func(a, b Door) int { return strings.Compare(a.Device, b.Device) })
	noun := "devices"
	if len(devices) == 1 {
		noun = "device"
	}
	return doors, fmt.Sprintf("%d without encryption on %d %s: %s", len(doors), len(devices), noun, strings.Join(counts, ", "))
}

// FingerprintChanged reports that a certificate or host key is another than the
// one seen before. Where either was not seen, nothing changed.
func FingerprintChanged(before, now string) bool {
	return before != "" && now != "" && before != now
}
