package mail

import "time"

// State is where a message in the spool stands.
type State string

// A message is queued until a server takes it (sent), until it is four days
// old (failed, yet still tried a few times a day as the newest of its kind),
// or until a newer one of its kind makes a failed one pointless (dropped).
const (
	Queued  State = "queued"
	Sent    State = "sent"
	Failed  State = "failed"
	Dropped State = "dropped"
)

// The pauses double from the first to the longest. RFC 5321, section 4.5.4.1,
// asks a relay for pauses of 30 minutes and for four to five days before giving
// up; one mail to one's own server may be tried sooner at first.
const (
	firstPause   = 2 * time.Minute
	longestPause = 6 * time.Hour
	patience     = 4 * 24 * time.Hour
)

// NextTry says when a message is tried again after attempts tries, the last of
// them at now: after 2, 4, 8 … minutes, at most 6 hours. It gives up when the
// message was queued four days ago or more: its state is then [Failed] and
// [Outdated] may drop it, but the newest of its kind is tried on at next. With
// no attempts yet, next is now.
func NextTry(firstQueued time.Time, attempts int, now time.Time) (next time.Time, giveUp bool) {
	giveUp = now.Sub(firstQueued) >= patience
	if attempts <= 0 {
		return now, giveUp
	}
	pause := longestPause
	if doublings := attempts - 1; doublings < 8 { // 2 minutes * 2^8 is over 6 hours
		pause = min(longestPause, firstPause<<doublings)
	}
	return now.Add(pause), giveUp
}

// DueNow reports whether a message whose next try was set to next is to be
// tried now. A next that lies farther ahead than any pause was set before the
// clock went back, and holds nothing up.
func DueNow(next, now time.Time) bool {
	return !next.After(now) || next.Sub(now) > longestPause
}

// Waiting is a message in the spool that is neither sent nor dropped.
type Waiting struct {
	ID          int64
	Kind        string // what replaces what: the newest of a kind is kept
	FirstQueued time.Time
}

// Outdated returns the IDs of the messages to drop, in the order of waiting:
// those given up of whose kind a newer one waits. Of two queued at the same
// moment the higher ID is newer.
func Outdated(waiting []Waiting, now time.Time) []int64 {
	newest := map[string]Waiting{}
	for _, w := range waiting {
		if n, ok := newest[w.Kind]; !ok || newer(w, n) {
			newest[w.Kind] = w
		}
	}
	var drop []int64
	for _, w := range waiting {
		if now.Sub(w.FirstQueued) >= patience && newest[w.Kind].ID != w.ID {
			drop = append(drop, w.ID)
		}
	}
	return drop
}

func newer(a, b Waiting) bool {
	if !a.FirstQueued.Equal(b.FirstQueued) {
		return a.FirstQueued.After(b.FirstQueued)
	}
	return a.ID > b.ID
}
