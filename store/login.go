package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"boundwalk/inventory"
)

// LoginReserved is the outcome of a try whose end is not known: it is under
// way, or was killed.
const LoginReserved = "reserved"

// ErrLoginTaken is returned when another try at the device came in between.
var ErrLoginTaken = errors.New("another login try at this device was noted meanwhile")

// LoginTry is one try of a factory account or default community. There is no
// secret in it.
type LoginTry struct {
	ID          int64
	Device      string
	MAC         inventory.MAC // read on its address just before; zero: none, on loopback
	Entry       string        // which of the plan
	Over        string
	At          time.Time // when it was reserved, to the second after
	Asked       string    // what allowed it
	Firmware    string    // of the device at that time
	Outcome     string    // LoginReserved until it is known
	Why         string
	Sent        int    // logins that may have left
	Lock        string // the sign of a lock; empty: none
	Cleared     bool   // a person cleared the lock
	Fingerprint string // of its certificate or host key; empty: none seen
}

// tried picks the tries at a device by its name or its MACs.
const tried = `(device = ?1 OR mac <> '' AND mac IN (SELECT value FROM json_each(?2)))`

// LoginTries lists the tries at a device of this name or with one of these
// MACs, oldest first; without a name and MACs, all tries at all devices.
func (l *Logbook) LoginTries(ctx context.Context, device string, macs []inventory.MAC) ([]LoginTry, error) {
	const q = `SELECT id, device, mac, entry, over, at, asked, firmware, outcome, why, sent, lock, cleared IS NOT NULL, print
		FROM logins WHERE ?3 OR ` + tried + ` ORDER BY at, id`
	var out []LoginTry
	all := device == "" && len(macs) == 0
	err := query(ctx, l.db, q, []any{device, macList(macs), all}, func(scan func(...any) error) error {
		var t LoginTry
		var mac string
		var at int64
		if err := scan(&t.ID, &t.Device, &mac, &t.Entry, &t.Over, &at, &t.Asked, &t.Firmware, &t.Outcome, &t.Why, &t.Sent, &t.Lock, &t.Cleared,
			&t.Fingerprint); err != nil {
			return err
		}
		t.At = unix(at)
		var err error
		if mac != "" {
			t.MAC, err = inventory.ParseMAC(mac)
		}
		out = append(out, t)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("login tries: %w", plain(err))
	}
	return out, nil
}

// ReserveLogin notes a try before it is sent, and returns once the note would
// survive a power cut. Where the logbook does not hold just prior tries at
// t.Device and macs, it notes nothing and returns ErrLoginTaken.
func (l *Logbook) ReserveLogin(ctx context.Context, t LoginTry, macs []inventory.MAC, prior int) (int64, error) {
	var id int64
	err := l.tx(ctx, func(tx *sql.Tx) error {
		var n int
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM logins WHERE `+tried, t.Device, macList(macs)).Scan(&n); err != nil {
			return err
		}
		if n != prior {
			return ErrLoginTaken
		}
		mac := ""
		if t.MAC != (inventory.MAC{}) {
			mac = t.MAC.String()
		}
		// Rounded up, so that a day after it is never a little less.
		at := t.At.Add(time.Second - time.Nanosecond).Unix()
		const q = `INSERT INTO logins (device, mac, entry, over, at, asked, firmware, outcome, why, print) VALUES (?, ?, ?, ?, ?, ?, ?, ?, '', '')`
		r, err := tx.ExecContext(ctx, q, t.Device, mac, t.Entry, t.Over, at, t.Asked, t.Firmware, LoginReserved)
		if err != nil {
			return err
		}
		id, err = r.LastInsertId()
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("reserve a login at %s: %w", t.Device, err)
	}
	return id, nil
}

// RecordLogin stores how a reserved try ended: Outcome, Why, Sent, Lock and
// Fingerprint of t. The fingerprint is also kept as the last seen there.
func (l *Logbook) RecordLogin(ctx context.Context, id int64, t LoginTry) error {
	err := l.tx(ctx, func(tx *sql.Tx) error {
		const q = `UPDATE logins SET outcome = ?, why = ?, sent = ?, lock = ?, print = ? WHERE id = ? AND outcome = ?`
		r, err := tx.ExecContext(ctx, q, t.Outcome, t.Why, t.Sent, t.Lock, t.Fingerprint, id, LoginReserved)
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err != nil || n != 1 {
			return errors.Join(err, errors.New("no such try is reserved"))
		}
		if t.Fingerprint == "" {
			return nil
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO prints (device, door, print, at) SELECT device, over, ?1, at FROM logins WHERE id = ?2
			ON CONFLICT (device, door) DO UPDATE SET print = excluded.print, at = excluded.at`, t.Fingerprint, id)
		return err
	})
	if err != nil {
		return fmt.Errorf("record login try %d: %w", id, err)
	}
	return nil
}

// ClearLock takes the signs of a lock at a device of this name or with one of
// these MACs as dealt with, and tries that a wrong clock dated after now. It
// returns how many there were.
func (l *Logbook) ClearLock(ctx context.Context, device string, macs []inventory.MAC, now time.Time) (int, error) {
	var n int64
	err := l.tx(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `UPDATE logins SET cleared = ?3 WHERE cleared IS NULL AND (lock <> '' OR at > ?3) AND `+tried,
			device, macList(macs), now.Unix())
		if err != nil {
			return err
		}
		n, err = r.RowsAffected()
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("clear the lock of %s: %w", device, err)
	}
	return int(n), nil
}

func macList(macs []inventory.MAC) string {
	words := make([]string, 0, len(macs))
	for _, m := range macs {
		words = append(words, m.String())
	}
	text, _ := json.Marshal(words) // strings always can
	return string(text)
}
