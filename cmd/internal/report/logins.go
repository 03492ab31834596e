package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"
)

// LoginState is what is known of one factory account or default community.
type LoginState struct {
	Device, Entry, Over string
	Outcome             string    // the newest that was one; not-checked: there is none
	At                  time.Time // of that outcome; zero: never checked
	Why                 string    // of the outcome, else why it is not checked
	Locked              bool      // a sign of a lock stands
}

// LoginStates sums up all tries, oldest first, and the last run's results, by device.
func LoginStates(tries []store.LoginTry, last []inventory.LoginResult) []LoginState {
	type account struct{ device, entry, over string }
	var order []account
	states := map[account]*LoginState{}
	state := func(a account) *LoginState {
		if states[a] == nil {
			order = append(order, a)
			states[a] = &LoginState{Device: a.device, Entry: a.entry, Over: a.over, Outcome: inventory.LoginNotChecked}
		}
		return states[a]
	}
	judge := func(a account, outcome, why string, at time.Time) {
		switch s := state(a); {
		case outcome == store.LoginReserved:
			s.Outcome, s.Why, s.At = inventory.LoginCannotTell, "the try came to no known end", at
		case outcome != inventory.LoginNotChecked:
			s.Outcome, s.Why, s.At = outcome, why, at
		case s.At.IsZero():
			s.Why = why
		}
	}
	locked := map[string]bool{}
	for _, t := range tries {
		outcome := t.Outcome
		if outcome == inventory.LoginAccepted && t.Over == "snmp" {
			outcome = inventory.LoginCommunity
		}
		judge(account{t.Device, t.Entry, t.Over}, outcome, t.Why, t.At)
		locked[t.Device] = locked[t.Device] || t.Lock != "" && !t.Cleared
	}
	for _, r := range last {
		if a := (account{r.Device, r.Entry, r.Over}); states[a] == nil || states[a].At.Before(r.When) {
			judge(a, r.Outcome, r.Why, r.When)
		}
	}
	slices.SortFunc(order, func(x, y account) int {
		return cmp.Or(cmp.Compare(x.device, y.device), cmp.Compare(x.over, y.over), cmp.Compare(x.entry, y.entry))
	})
	out := make([]LoginState, 0, len(order))
	for _, a := range order {
		s := *states[a]
		s.Locked = locked[s.Device]
		out = append(out, s)
	}
	return out
}

// words says the state for people. Refused never means changed: a disabled
// account or a skewed clock refuses as well.
func (s LoginState) words(loc *time.Location) string {
	checked := fmt.Sprintf(" (checked %s)", Clock(s.At, loc))
	why := because(s.Why)
	switch s.Outcome {
	case inventory.LoginAccepted:
		return "factory login still accepted" + checked
	case inventory.LoginCommunity:
		return "answers to it" + checked
	case inventory.LoginRefused:
		return "refused" + checked
	case inventory.LoginCannotTell:
		return "cannot tell" + why + checked
	case inventory.LoginLocked:
		return "locked" + why + checked
	case inventory.LoginUnset:
		return "was never set up" + checked
	}
	return "not checked" + why
}

// Logins writes what is known of each account, then every try ever made.
func Logins(w io.Writer, tries []store.LoginTry, last []inventory.LoginResult, loc *time.Location, style Style) error {
	p := newPage(w, style)
	states := LoginStates(tries, last)
	if len(states) == 0 {
		p.line("No factory account was checked, and the plan asks for none to be.")
		return p.w.Flush()
	}
	p.line("%s", style.paint(bold, "Accounts"))
	p.line("")
	for _, line := range accountLines(states, loc) {
		p.hang("  - ", line)
	}
	p.locks(states)
	p.line("")
	p.line("%s", style.paint(bold, "Tries"))
	p.line("")
	p.tries(tries, loc)
	return p.w.Flush()
}

// outcomesFirst is the order of accounts: what wants a hand comes first.
var outcomesFirst = []string{inventory.LoginAccepted, inventory.LoginCommunity, inventory.LoginUnset, inventory.LoginLocked,
	inventory.LoginCannotTell, inventory.LoginRefused}

// accountLines tell of the accounts, in one line those of which the same is known.
func accountLines(states []LoginState, loc *time.Location) []string {
	rank := func(s LoginState) int {
		if i := slices.Index(outcomesFirst, s.Outcome); i >= 0 {
			return i
		}
		return len(outcomesFirst)
	}
	states = slices.Clone(states)
	slices.SortStableFunc(states, func(a, b LoginState) int { return cmp.Compare(rank(a), rank(b)) })
	type line struct{ devices, rest string }
	var lines []line
	for _, s := range states {
		rest := fmt.Sprintf(" over %s, %s: %s", s.Over, s.Entry, s.words(loc))
		i := slices.IndexFunc(lines, func(l line) bool { return l.rest == rest })
		if i < 0 {
			lines = append(lines, line{s.Device, rest})
			continue
		}
		lines[i].devices += ", " + s.Device
	}
	out := make([]string, len(lines))
	for i, l := range lines {
		out[i] = l.devices + l.rest
	}
	return out
}

// locks names each device that showed a sign of a lock, with the way on.
func (p *page) locks(states []LoginState) {
	told := map[string]bool{}
	for _, s := range states {
		if s.Locked && !told[s.Device] {
			told[s.Device] = true
			p.hang("  - ", fmt.Sprintf("%s showed a sign of a lock: nothing is tried there until \"boundwalk accept lock/%[1]s\"", s.Device))
		}
	}
}

// tries writes every try, the newest first.
func (p *page) tries(tries []store.LoginTry, loc *time.Location) {
	if len(tries) == 0 {
		p.line("  none")
		return
	}
	t := newTable("when", "device", "over", "account", "outcome", "sent", "because")
	t.spare = []string{"because", "sent"}
	for _, x := range slices.Backward(tries) {
		outcome := x.Outcome
		if outcome == store.LoginReserved {
			outcome = "no end known"
		}
		t.row(Clock(x.At, loc), x.Device, x.Over, x.Entry, outcome, fmt.Sprint(x.Sent), x.Asked)
	}
	t.write(p, "  ")
}

type loginStateJSON struct {
	Device  string     `json:"device"`
	Account string     `json:"account"`
	Over    string     `json:"over"`
	Outcome string     `json:"outcome"`
	Checked *time.Time `json:"checked"`
	Why     *string    `json:"why"`
	Locked  bool       `json:"locked"`
}

type loginTryJSON struct {
	At          *time.Time `json:"at"`
	Device      string     `json:"device"`
	Account     string     `json:"account"`
	Over        string     `json:"over"`
	Outcome     *string    `json:"outcome"` // null: reserved, and no end is known
	Why         *string    `json:"why"`
	AllowedBy   *string    `json:"allowed_by"`
	Sent        int        `json:"sent"`
	Lock        *string    `json:"lock"`
	Cleared     bool       `json:"lock_cleared"`
	Fingerprint *string    `json:"fingerprint"`
}

// LoginsJSON writes the same as JSON, the tries newest first.
func LoginsJSON(w io.Writer, tries []store.LoginTry, last []inventory.LoginResult) error {
	out := struct {
		Accounts []loginStateJSON `json:"accounts"`
		Tries    []loginTryJSON   `json:"tries"`
	}{[]loginStateJSON{}, []loginTryJSON{}}
	for _, s := range LoginStates(tries, last) {
		out.Accounts = append(out.Accounts, loginStateJSON{s.Device, s.Entry, s.Over, s.Outcome, at(s.At), text(s.Why), s.Locked})
	}
	for _, t := range slices.Backward(tries) {
		j := loginTryJSON{At: at(t.At), Device: t.Device, Account: t.Entry, Over: t.Over, Why: text(t.Why), AllowedBy: text(t.Asked), Sent: t.Sent,
			Lock: text(t.Lock), Cleared: t.Cleared, Fingerprint: text(t.Fingerprint)}
		if t.Outcome != store.LoginReserved {
			j.Outcome = text(t.Outcome)
		}
		out.Tries = append(out.Tries, j)
	}
	return write(w, out)
}
