// Package notify tells the service manager how the daemon is, in the protocol
// of sd_notify(3). Where no service manager listens ($NOTIFY_SOCKET is not set)
// all of it does nothing and succeeds.
package notify

import (
	"context"
	"fmt"
	"strings"
	"time"
	"unicode"

	"github.com/coreos/go-systemd/v22/daemon"
)

// Ready says that the daemon serves: at the end of its start, and again after
// [Reloading]. The status is a line for people, as in [Status].
func Ready(status string) error {
	return tell(daemon.SdNotifyReady + "\nSTATUS=" + line(status))
}

// Reloading says that the plan is read again. [Ready] must follow, also where
// the new plan is bad and the last good one stays.
func Reloading() error {
	// Type=notify-reload wants the moment beside it, as sd_notify(3) says.
	return tell(daemon.SdNotifyReloading + "\n" + daemon.SdNotifyMonotonicUsec())
}

// Stopping says that the daemon is ending.
func Stopping() error { return tell(daemon.SdNotifyStopping) }

// Status shows one line for people beside the service's state. Control
// characters become blanks, for each line of a message is an assignment.
func Status(text string) error { return tell("STATUS=" + line(text)) }

// Watchdog tells the service manager twice in each watchdog time that the
// daemon lives, as long as alive agrees; nil always agrees. It blocks until ctx
// ends, and returns at once where the manager asked for no watchdog.
func Watchdog(ctx context.Context, alive func() bool) error {
	limit, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		return fmt.Errorf("notify: read the watchdog time: %w", err)
	}
	if limit == 0 {
		return nil
	}
	ticker := time.NewTicker(max(limit/2, time.Millisecond))
	defer ticker.Stop()
	for {
		if alive == nil || alive() {
			if err := tell(daemon.SdNotifyWatchdog); err != nil {
				return err
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
	}
}

func tell(state string) error {
	if _, err := daemon.SdNotify(false, state); err != nil {
		return fmt.Errorf("notify: tell the service manager: %w", err)
	}
	return nil
}

func line(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
	if runes := []rune(text); len(runes) > 200 {
		text = string(runes[:199]) + "…"
	}
	return text
}
