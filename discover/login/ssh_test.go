package login_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"net"
	"sync/atomic"
	"testing"

	"golang.org/x/crypto/ssh"

	"boundwalk/discover/login"
)

var errNo = errors.New("no")

// sshDevice serves SSH as config says, with a new host key.
func sshDevice(t *testing.T, config func(counted *atomic.Int32, c net.Conn) *ssh.ServerConfig) (at, print string, counted *atomic.Int32) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	key, err := ssh.NewSignerFromKey(private)
	if err != nil {
		t.Fatal(err)
	}
	counted = new(atomic.Int32)
	at = wire(t, func(c net.Conn) {
		defer c.Close()
		s := config(counted, c)
		s.AddHostKey(key)
		in, channels, requests, err := ssh.NewServerConn(c, s)
		if err != nil {
			return
		}
		go ssh.DiscardRequests(requests)
		for ch := range channels {
			t.Errorf("a %s channel was opened", ch.ChannelType())
			ch.Reject(ssh.Prohibited, "")
		}
		in.Wait()
	})
	return at, ssh.FingerprintSHA256(key.PublicKey()), counted
}

func byPassword(pass string) func(*atomic.Int32, net.Conn) *ssh.ServerConfig {
	return func(counted *atomic.Int32, _ net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{
			PasswordCallback: func(m ssh.ConnMetadata, p []byte) (*ssh.Permissions, error) {
				counted.Add(1)
				if m.User() == user && string(p) == pass {
					return nil, nil
				}
				return nil, errNo
			},
			// Offered beside it, and never to be used as well.
			KeyboardInteractiveCallback: func(ssh.ConnMetadata, ssh.KeyboardInteractiveChallenge) (*ssh.Permissions, error) {
				counted.Add(1)
				return nil, errNo
			},
		}
	}
}

// byQuestions asks rounds of questions, all of which hide what is typed but for echo.
func byQuestions(pass string, echo bool, rounds ...[]string) func(*atomic.Int32, net.Conn) *ssh.ServerConfig {
	return func(counted *atomic.Int32, _ net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{
			KeyboardInteractiveCallback: func(m ssh.ConnMetadata, ask ssh.KeyboardInteractiveChallenge) (*ssh.Permissions, error) {
				counted.Add(1)
				right := false
				for _, questions := range rounds {
					echos := make([]bool, len(questions))
					for i := range echos {
						echos[i] = echo
					}
					answers, err := ask("", "Tern Quay", questions, echos)
					if err != nil {
						return nil, err
					}
					for _, a := range answers {
						right = a == pass
					}
				}
				if right {
					return nil, nil
				}
				return nil, errNo
			},
		}
	}
}

var sshCases = []struct {
	name   string
	config func(*atomic.Int32, net.Conn) *ssh.ServerConfig
	want   login.Outcome
	sent   int
	open   bool
}{
	{"factory password", byPassword(secret), login.Accepted, 1, false},
	{"changed", byPassword("changed"), login.Refused, 1, false},
	{"by question", byQuestions(secret, false, []string{"Password:"}), login.Accepted, 1, false},
	{"by question, changed", byQuestions("changed", false, []string{"Password:"}), login.Refused, 1, false},
	{"by question after words to read", byQuestions(secret, false, nil, []string{"Password:"}), login.Accepted, 1, false},
	{"by two questions", byQuestions(secret, false, []string{"Password:", "Code:"}), login.CannotTell, 1, false},
	{"by a second round", byQuestions(secret, false, []string{"Password:"}, []string{"New password:"}), login.CannotTell, 1, false},
	{"by a question that shows what is typed", byQuestions(secret, true, []string{"Name:"}), login.CannotTell, 1, false},
	{"keys only", func(*atomic.Int32, net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{PublicKeyCallback: func(ssh.ConnMetadata, ssh.PublicKey) (*ssh.Permissions, error) { return nil, errNo }}
	}, login.CannotTell, 0, false},
	{"no password at all", func(*atomic.Int32, net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{NoClientAuth: true}
	}, login.CannotTell, 0, true},
	{"disconnects on the first failure", func(n *atomic.Int32, c net.Conn) *ssh.ServerConfig {
		s := byPassword("changed")(n, c)
		s.MaxAuthTries = 1
		return s
	}, login.Locked, 1, false},
	{"breaks off", func(n *atomic.Int32, c net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{PasswordCallback: func(ssh.ConnMetadata, []byte) (*ssh.Permissions, error) {
			n.Add(1)
			c.Close()
			return nil, errNo
		}}
	}, login.Locked, 1, false},
	{"resets", func(n *atomic.Int32, c net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{PasswordCallback: func(ssh.ConnMetadata, []byte) (*ssh.Permissions, error) {
			n.Add(1)
			c.(*net.TCPConn).SetLinger(0)
			c.Close()
			return nil, errNo
		}}
	}, login.Locked, 1, false},
	{"by question, breaks off", func(n *atomic.Int32, c net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{KeyboardInteractiveCallback: func(_ ssh.ConnMetadata, ask ssh.KeyboardInteractiveChallenge) (*ssh.Permissions, error) {
			n.Add(1)
			ask("", "", []string{"Password:"}, []bool{false})
			c.Close()
			return nil, errNo
		}}
	}, login.Locked, 1, false},
	{"takes an answer and wants more", func(n *atomic.Int32, c net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{KeyboardInteractiveCallback: func(_ ssh.ConnMetadata, ask ssh.KeyboardInteractiveChallenge) (*ssh.Permissions, error) {
			n.Add(1)
			if _, err := ask("", "", []string{"Password:"}, []bool{false}); err != nil {
				return nil, err
			}
			return nil, &ssh.PartialSuccessError{Next: ssh.ServerAuthCallbacks{
				PublicKeyCallback: func(ssh.ConnMetadata, ssh.PublicKey) (*ssh.Permissions, error) { return nil, errNo },
			}}
		}}
	}, login.CannotTell, 1, false},
	{"takes it and wants more", func(n *atomic.Int32, c net.Conn) *ssh.ServerConfig {
		return &ssh.ServerConfig{PasswordCallback: func(ssh.ConnMetadata, []byte) (*ssh.Permissions, error) {
			n.Add(1)
			return nil, &ssh.PartialSuccessError{Next: ssh.ServerAuthCallbacks{
				PublicKeyCallback: func(ssh.ConnMetadata, ssh.PublicKey) (*ssh.Permissions, error) { return nil, errNo },
			}}
		}}
	}, login.CannotTell, 1, false},
}

func TestSSH(t *testing.T) {
	for _, c := range sshCases {
		t.Run(c.name, func(t *testing.T) {
			at, print, counted := sshDevice(t, c.config)
			r := check(t, at, account(login.OverSSH))
			expect(t, r, c.want, counted, c.sent)
			if r.Fingerprint != print {
				t.Errorf("host key %q, want %q", r.Fingerprint, print)
			}
			if r.Unguarded != c.open {
				t.Errorf("unguarded %v, want %v", r.Unguarded, c.open)
			}
		})
	}
	t.Run("contrast", func(t *testing.T) {
		at, _, counted := sshDevice(t, byPassword(secret))
		a := account(login.OverSSH)
		a.Contrast = true
		expect(t, check(t, at, a), login.Accepted, counted, 2)
	})
}
