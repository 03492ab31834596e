package login_test

import (
	"context"
	"errors"
	"slices"
	"sync"

	"boundwalk/discover/login"
)

// memory is a ledger without a file. It outlives a Checker, as the logbook
// outlives the process.
type memory struct {
	mu    sync.Mutex
	tries []login.Try

	fail string // "tries", "reserve" or "record": returns an error there
	die  string // "reserved" or "record": panics there, as a kill would end the process
}

var errDisk = errors.New("disk full")

type killed struct{}

func (m *memory) at(device string, macs [][6]byte) []login.Try {
	var found []login.Try
	for _, t := range m.tries {
		if t.Device == device || slices.Contains(macs, t.MAC) {
			found = append(found, t)
		}
	}
	return found
}

func (m *memory) Tries(_ context.Context, device string, macs [][6]byte) ([]login.Try, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail == "tries" {
		return nil, errDisk
	}
	return m.at(device, macs), nil
}

func (m *memory) Reserve(ctx context.Context, t login.Try, macs [][6]byte, prior int) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail == "reserve" {
		return 0, errDisk
	}
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	if len(m.at(t.Device, macs)) != prior {
		return 0, login.ErrReserved
	}
	m.tries = append(m.tries, t)
	if m.die == "reserved" {
		panic(killed{})
	}
	return int64(len(m.tries) - 1), nil
}

func (m *memory) Record(ctx context.Context, id int64, r login.Result) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.die == "record" {
		panic(killed{})
	}
	if m.fail == "record" {
		return errDisk
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	t := &m.tries[id]
	t.Outcome, t.Sent, t.Lock = r.Outcome, r.Sent, r.Lock
	return nil
}

// clear is what a person does about a lock.
func (m *memory) clear() {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.tries {
		m.tries[i].Cleared = true
	}
}
