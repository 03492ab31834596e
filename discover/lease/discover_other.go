//go:build !linux

package lease

import "context"

// Discover is offered on Linux only.
func Discover(context.Context, string, DiscoverOptions) DiscoverResult {
	return DiscoverResult{End: "skipped", Why: "raw sockets for DHCP are offered on Linux only"}
}
