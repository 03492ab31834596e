package simnet

import (
	"context"
	"time"
)

// line sends datagrams later, in the order in which they were put.
type line chan parcel

type parcel struct {
	due  time.Time
	send func()
}

// lineDepth is how many datagrams may be under way. More are lost, as in a full
// queue of a router.
const lineDepth = 4096

func newLine() line { return make(line, lineDepth) }

// put sends after the delay, or at once and in this goroutine if that is zero.
func (l line) put(delay time.Duration, send func()) {
	if delay <= 0 {
		send()
		return
	}
	select {
	case l <- parcel{time.Now().Add(delay), send}:
	default:
	}
}

// run sends what is due until the line is closed. What is under way when ctx
// ends is lost.
func (l line) run(ctx context.Context) {
	for p := range l {
		select {
		case <-time.After(time.Until(p.due)):
			p.send()
		case <-ctx.Done():
		}
	}
}
