package login

import (
	"context"
	"errors"
	"net"
	"slices"

	"golang.org/x/crypto/ssh"
)

var errDone = errors.New("one login is enough")

// sshTry is one conversation about a password. The library calls its methods
// from the goroutine that logs in.
type sshTry struct {
	a        *attempt
	conn     *conn
	password Secret
	started  bool // a method was chosen
	answered bool // keyboard-interactive: the password was given
	sent     bool
	refused  bool
	partial  bool // the password was taken, but the device wants more
	unknown  bool // neither method is offered, or it asks something else
}

// ssh tries one password. The "none" request that comes first (RFC 4252,
// section 5.2) lists the methods and costs no try.
func (a *attempt) ssh(ctx context.Context, user string, password Secret) verdict {
	c, err := a.connect(ctx, a.target)
	if err != nil {
		return a.unanswered(err, false)
	}
	defer c.Close()
	t := &sshTry{a: a, conn: c, password: password}
	known, old := ssh.SupportedAlgorithms(), ssh.InsecureAlgorithms()
	config := &ssh.ClientConfig{
		Config: ssh.Config{ // old gear is what this is for, and the password is no secret
			KeyExchanges: slices.Concat(known.KeyExchanges, old.KeyExchanges),
			Ciphers:      slices.Concat(known.Ciphers, old.Ciphers),
			MACs:         slices.Concat(known.MACs, old.MACs),
		},
		HostKeyAlgorithms: slices.Concat(known.HostKeys, old.HostKeys),
		HostKeyCallback: func(_ string, _ net.Addr, key ssh.PublicKey) error {
			a.result.Fingerprint = ssh.FingerprintSHA256(key)
			return nil
		},
		User:          user,
		ClientVersion: "SSH-2.0-boundwalk",
		AuthCallback:  t.next,
	}
	in, channels, requests, err := ssh.NewClientConn(c, a.target.String(), config)
	if err == nil {
		ssh.NewClient(in, channels, requests).Close()
	}
	return t.verdict(err)
}

// next chooses the one method, then ends the conversation.
func (t *sshTry) next(s *ssh.ClientAuthContext) (ssh.AuthMethod, error) {
	if t.started {
		t.partial = len(s.PartialSuccessMethods) > 0
		// An answer of "no" leaves the connection open.
		t.refused = t.refused || t.answered && !t.unknown && !t.partial && t.conn.lost.Load() == nil
		return nil, errDone
	}
	t.started = true
	switch {
	case slices.Contains(s.AllowedMethods, "password"):
		t.a.result.Scheme = "password"
		// The second call tells a plain "no" from all else that ends a method.
		return ssh.RetryableAuthMethod(ssh.PasswordCallback(func() (string, error) {
			if t.sent {
				t.refused = true
				return "", errDone
			}
			t.send()
			return t.password.Reveal(), nil
		}), 2), nil
	case slices.Contains(s.AllowedMethods, "keyboard-interactive"):
		t.a.result.Scheme = "keyboard-interactive"
		t.send() // the request itself may count as a try
		return ssh.KeyboardInteractive(t.answer), nil
	}
	t.unknown = true
	return nil, errDone
}

func (t *sshTry) send() {
	t.sent = true
	t.a.result.Sent++
}

// answer gives the password to one question that hides what is typed, once,
// and nothing to anything else.
func (t *sshTry) answer(_, _ string, questions []string, echos []bool) ([]string, error) {
	switch {
	case len(questions) == 0:
		return nil, nil // only words to read, RFC 4256 section 3.2
	case len(questions) == 1 && !echos[0] && !t.answered:
		t.answered = true
		return []string{t.password.Reveal()}, nil
	}
	t.unknown = true
	return nil, errDone
}

func (t *sshTry) verdict(err error) verdict {
	words := func(reason string) verdict { return verdict{outcome: CannotTell, reason: reason, read: t.sent} }
	switch {
	case err == nil && !t.sent:
		v := words("lets anybody in without a password")
		v.open = true
		return v
	case err == nil:
		return verdict{outcome: Accepted, read: true}
	case t.refused:
		return verdict{outcome: Refused, read: true}
	case t.partial:
		return words("takes the password, but asks for more than one")
	case t.unknown:
		return words("offers no login with one password")
	case t.sent && t.conn.lost.Load() != nil:
		return t.a.unanswered(*t.conn.lost.Load(), true)
	case t.sent && !errors.Is(err, errDone): // a message of disconnect, RFC 4253 section 11.1
		return locked("connection ended by the device, in answer to the login")
	case t.sent:
		return words("answers the login with neither yes nor no")
	}
	return t.a.unanswered(err, false)
}
