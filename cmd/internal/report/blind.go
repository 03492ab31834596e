package report

import (
	"fmt"
	"strings"

	"boundwalk/inventory"
)

// NotLooked are the planned devices whose network nobody looked at, or not to
// its end, in the plan's order. Networks that are only counted, and those on
// loopback, are not looked at by design; who roams or is away is not looked for.
func NotLooked(plan *inventory.Plan, s *inventory.Snapshot) []string {
	var out []string
	for i := range plan.Devices {
		d := &plan.Devices[i]
		n, ok := plan.NetworkOf(d.Address())
		if !ok || n.Unknown == inventory.UnknownCount || n.Subnet.Addr().IsLoopback() || d.Role.Roams() {
			continue
		}
		if seen, ok := s.Device(d.Name); ok && seen.Presence == inventory.NotLooked && !seen.Away {
			out = append(out, d.Name)
		}
	}
	return out
}

// someNames lists a few, and counts the rest.
func someNames(list []string) string {
	const most = 6
	if len(list) <= most {
		return strings.Join(list, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(list[:most], ", "), len(list)-most)
}
