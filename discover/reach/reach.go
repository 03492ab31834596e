// Package reach asks single addresses plain questions: whether TCP ports take a
// connection (Connect), what the name server calls them (Names), how many
// pings come back and how fast (Ping), and what their clocks show (SNTP,
// HTTPDate, ONVIFTime).
//
// All of it is paced and bounded, and nothing logs in anywhere. Which addresses
// may be asked is for the caller to decide. Texts are as they were sent, not
// cleaned; lengths are bounded.
package reach

import (
	"context"
	"errors"
	"net"
	"os"
	"syscall"
	"time"

	"golang.org/x/time/rate"
)

const (
	defaultRate    = 20 // packets or connections a second
	defaultTimeout = 2 * time.Second
)

// ErrNoAnswer is returned when nothing came back before the deadline.
var ErrNoAnswer = errors.New("no answer")

// ErrRefused is returned when the other side, or a router, answered that it
// would not.
var ErrRefused = errors.New("refused")

// ErrNotOffered is returned when there was an answer that is none to the
// question.
var ErrNotOffered = errors.New("not offered")

// sentinel returns which of the three errors err amounts to, or nil.
func sentinel(err error) error {
	switch ne, isNet := errors.AsType[net.Error](err); {
	case errors.Is(err, ErrNoAnswer), errors.Is(err, os.ErrDeadlineExceeded), errors.Is(err, context.DeadlineExceeded), isNet && ne.Timeout():
		return ErrNoAnswer
	case errors.Is(err, syscall.ECONNREFUSED), errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH):
		return ErrRefused
	}
	return nil
}

// newPace allows perSecond events a second.
func newPace(perSecond int) *rate.Limiter {
	return rate.NewLimiter(rate.Limit(perSecond), 1)
}

// pause waits for d, or until ctx ends and then returns its cause.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}
