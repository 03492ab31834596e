package login

import (
	"context"
	"net"
)

// SetDial lets a test run the whole of a check in a bubble, over pipes.
func (c *Checker) SetDial(dial func(ctx context.Context, network, address string) (net.Conn, error)) {
	c.dial = dial
}
