package inventory

import (
	"strings"
	"testing"
)

// An agent is judged by what it offers before what it says: sysServices adds 2^(L-1) for
// each layer (RFC 3418), and many agents set it too high.
func TestRoleOfAgent(t *testing.T) {
	yes, no := new(true), new(false)
	for _, c := range []struct {
		name     string
		services int
		forwards *bool
		ports    int // of the bridge
		feeds    bool
		want     string
	}{
		{"a switch", 2, no, 24, false, "switch: has a bridge with 24 ports"},
		{"a switch that says nothing of layers", 0, nil, 24, false, "switch: has a bridge with 24 ports"},
		{"a switch that routes", 6, yes, 24, false, "switch: has a bridge with 24 ports, routes as well"},
		{"a switch that could route and does not", 6, no, 24, false, "switch: has a bridge with 24 ports"},
		{"a PoE switch, whatever it says", 4, yes, 24, true, "switch: feeds power over Ethernet"},
		{"a router", 4, nil, 0, false, "router: sysServices says router"},
		{"a router that forwards", 76, yes, 0, false, "router: says that it forwards IP packets"},
		{"a router with a switch inside", 76, yes, 5, false, "router: says that it forwards IP packets, has a bridge with 5 ports as well"},
		{"a host that claims the internet layer", 76, nil, 0, false, ""},
		{"a host that does not forward", 4, no, 0, false, ""},
		{"a host with all layers", 79, no, 0, false, ""},
		{"layers of a switch, and no bridge", 6, nil, 0, false, ""},
		{"a camera with two bridge ports", 72, no, 2, false, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			ag := Agent{System: System{Services: c.services, Forwards: c.forwards}, Bridge: map[BridgePort]IfIndex{}}
			for p := range c.ports {
				ag.Bridge[BridgePort(p+1)] = IfIndex(p + 1)
			}
			if c.feeds {
				ag.PSEPorts = []PSEPort{{Index: PSEIndex{1, 1}}}
			}
			var got string
			if role, why := (roleHints{}).role(&SeenDevice{}, &agentView{Agent: &ag}); role != "" {
				got = string(role) + ": " + strings.Join(why, ", ")
			}
			if got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
