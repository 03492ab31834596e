package pass

import (
	"context"
	"errors"

	"boundwalk/discover/login"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Ledger counts login tries in a logbook. Its methods may be called at once.
type Ledger struct{ Book *store.Logbook }

// Tries lists the tries at a device by its name or MACs.
func (l Ledger) Tries(ctx context.Context, device string, macs [][6]byte) ([]login.Try, error) {
	rows, err := l.Book.LoginTries(ctx, device, toMACs(macs))
	if err != nil {
		return nil, err
	}
	out := make([]login.Try, 0, len(rows))
	for _, r := range rows {
		t := login.Try{Device: r.Device, MAC: r.MAC, Entry: r.Entry, Over: login.Over(r.Over), At: r.At, Why: r.Asked, Firmware: r.Firmware,
			Outcome: login.Outcome(r.Outcome), Sent: r.Sent, Lock: r.Lock, Cleared: r.Cleared}
		if r.Outcome == store.LoginReserved {
			t.Outcome = ""
		}
		out = append(out, t)
	}
	return out, nil
}

// Reserve notes a try durably before it is sent.
func (l Ledger) Reserve(ctx context.Context, t login.Try, macs [][6]byte, prior int) (int64, error) {
	id, err := l.Book.ReserveLogin(ctx, store.LoginTry{Device: t.Device, MAC: t.MAC, Entry: t.Entry, Over: string(t.Over), At: t.At, Asked: t.Why,
		Firmware: t.Firmware}, toMACs(macs), prior)
	if errors.Is(err, store.ErrLoginTaken) {
		return 0, errors.Join(login.ErrReserved, err)
	}
	return id, err
}

// Record stores how a reserved try ended.
func (l Ledger) Record(ctx context.Context, id int64, r login.Result) error {
	return l.Book.RecordLogin(ctx, id, store.LoginTry{Outcome: string(r.Outcome), Why: r.Reason, Sent: r.Sent, Lock: r.Lock, Fingerprint: r.Fingerprint})
}

func toMACs(macs [][6]byte) []inventory.MAC {
	out := make([]inventory.MAC, 0, len(macs))
	for _, m := range macs {
		out = append(out, m)
	}
	return out
}
